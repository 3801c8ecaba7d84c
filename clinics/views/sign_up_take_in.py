"""From sign-ups to the running order: proposed by pace, decided by a person, row by row."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods

from clinics.actions.errors import BadInput
from clinics.actions.sign_up_take_in import Candidate, Line, candidates
from clinics.actions.sign_up_take_in import take_in as take_them_in
from clinics.compute.pace import as_time
from clinics.models import Clinic
from clinics.views.plan_places import plan_places
from clinics.views.sign_up_admin import clinic_run
from clinics.views.sign_up_forms import NameField
from clinics.views.who import me
from clinics.views.words import in_words

NOBODY = "new"


@dataclass(frozen=True)
class Row:
    """One candidate with its fields."""

    candidate: Candidate
    take: forms.BoundField
    number: forms.BoundField
    group: forms.BoundField
    who: forms.BoundField | None

    @property
    def pace(self) -> str:
        return as_time(self.candidate.sign_up.pace_s_per_100m)


class TakeInForm(forms.Form):
    """Four fields for each candidate, named by the sign-up's id."""

    def __init__(self, data: Any, *, found: list[Candidate]) -> None:
        super().__init__(data)
        self.found = found
        for one in found:
            key = one.sign_up.pk.hex
            self.fields[f"take-{key}"] = forms.BooleanField(required=False, initial=True)
            self.fields[f"number-{key}"] = forms.IntegerField(
                min_value=1, max_value=99_999, initial=one.number
            )
            self.fields[f"group-{key}"] = NameField(
                max_length=40,
                initial=one.group,
                widget=forms.TextInput({"list": "lane-groups", "autocomplete": "off"}),
            )
            if one.namesakes:
                self.fields[f"who-{key}"] = forms.ChoiceField(choices=_people(one))

    def rows(self) -> list[Row]:
        return [self._row(one) for one in self.found]

    def _row(self, one: Candidate) -> Row:
        key = one.sign_up.pk.hex
        who = self[f"who-{key}"] if one.namesakes else None
        return Row(one, self[f"take-{key}"], self[f"number-{key}"], self[f"group-{key}"], who)

    def lines(self) -> list[Line]:
        return [self._line(one) for one in self.found if self._said("take", one)]

    def _said(self, name: str, one: Candidate) -> Any:
        return self.cleaned_data.get(f"{name}-{one.sign_up.pk.hex}")

    def _line(self, one: Candidate) -> Line:
        who = _chosen(self._said("who", one) or NOBODY)
        return Line(one.sign_up.pk, self._said("number", one), self._said("group", one), who)


def _people(one: Candidate) -> list[tuple[str, Any]]:
    """Namesakes of the club, told apart by what they swam before and their address."""
    people = [
        (str(swimmer.pk), _("the same as %(name)s, %(email)s") % _told(swimmer))
        for swimmer in one.namesakes
    ]
    return [(NOBODY, gettext_lazy("somebody new")), *people]


def _told(swimmer: Any) -> dict[str, str]:
    return {"name": swimmer.name, "email": swimmer.email or _("no address known")}


def _chosen(said: str) -> uuid.UUID | None:
    return uuid.UUID(said) if said != NOBODY else None


@require_http_methods(["GET", "HEAD", "POST"])
def take_in(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = clinic_run(request, pk)
    form = TakeInForm(request.POST or None, found=candidates(clinic, groups=_groups(request)))
    errors: list[tuple[str, str]] = []
    if request.method == "POST" and form.is_valid():
        try:
            entries = take_them_in(clinic=clinic, lines=form.lines(), by=me(request))
        except BadInput as bad:
            errors = in_words(bad).errors
        else:
            told = ngettext(
                "%(n)d swimmer is in the running order.",
                "%(n)d swimmers are in the running order.",
                len(entries),
            )
            messages.success(request, told % {"n": len(entries)})
            return redirect("clinics:sign-ups", pk=clinic.pk)
    return _page(request, clinic, form, errors)


def _groups(request: HttpRequest) -> int:
    """Into how many groups; 0: as it is."""
    said = request.GET.get("groups", "")
    return min(int(said), 60) if said.isascii() and said.isdecimal() else 0


def _page(
    request: HttpRequest, clinic: Clinic, form: TakeInForm, errors: list[tuple[str, str]]
) -> HttpResponse:
    names = list(clinic.lane_groups.order_by("order").values_list("name", flat=True))
    told = {
        "clinic": clinic,
        "form": form,
        "rows": form.rows(),
        "errors": errors,
        "groups": list(dict.fromkeys([*names, *(one.group for one in form.found)])),
        "count": len({one.group for one in form.found}),
        "places_of_plan": plan_places(clinic, "sign-ups"),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "clinics/sign_up_take_in.html", told, status=status)
