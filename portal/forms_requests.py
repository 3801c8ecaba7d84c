"""Forms about what people ask of a club."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms
from django.db.models import Case, IntegerField, QuerySet, Value, When
from django.utils.translation import gettext_lazy as _

from portal.actions.requests import people_of
from portal.models import Club, PersonRequest

Kind = PersonRequest.Kind


class FilterForm(forms.Form):
    """What the table shows; what makes no sense is left out."""

    state = forms.ChoiceField(
        label=_("State"),
        required=False,
        choices=[("", _("all")), ("open", _("waiting")), ("ended", _("ended"))],
    )
    kind = forms.ChoiceField(
        label=_("What for"), required=False, choices=[("", _("all")), *Kind.choices]
    )

    def narrowed(self, rows: QuerySet[PersonRequest]) -> QuerySet[PersonRequest]:
        told = self.cleaned_data if self.is_valid() else {}
        waits = When(state__in=PersonRequest.OPEN_STATES, then=Value(0))
        rows = rows.annotate(over=Case(waits, default=Value(1), output_field=IntegerField()))
        if told.get("state"):
            rows = rows.filter(over=0 if told["state"] == "open" else 1)
        if told.get("kind"):
            rows = rows.filter(kind=told["kind"])
        return rows.order_by("over", "due_at", "pk")


class AnswerForm(forms.Form):
    granted = forms.TypedChoiceField(
        label=_("Your answer"),
        choices=[("yes", _("Yes: done, or it will be")), ("no", _("No, for the reason below"))],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )
    words = forms.CharField(
        label=_("In a sentence or two"),
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 4}),
    )


class NoteForm(forms.Form):
    """A wish that came by letter or word of mouth."""

    swimmer = forms.ChoiceField(label=_("Whose wish it is"))
    kind = forms.ChoiceField(
        label=_("What for"),
        choices=[(kind.value, kind.label) for kind in (Kind.ERASE, Kind.OTHER)],
    )
    words = forms.CharField(
        label=_("In their words"),
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 4}),
    )

    def __init__(self, *args: Any, club: Club, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.people = people_of(club)
        choices = [(str(pk), name) for pk, (_kind, name) in self.people.items()]
        self.fields["swimmer"].choices = choices  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if "swimmer" in data:
            pk = UUID(data.pop("swimmer"))
            data |= {"subject_kind": self.people[pk][0], "subject_id": pk}
        return data
