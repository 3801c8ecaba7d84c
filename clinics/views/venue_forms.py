"""The form of a venue sheet. Its rows of depths are typed as they were measured; what is wrong is
told with its row, and what was typed stays."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from clinics.actions.errors import BadInput
from clinics.actions.venue import FIELDS, wrong_in
from clinics.models import Clinic, VenueSheet
from clinics.views.cautions_told import told

ROWS, MORE_ROWS = 8, 4  # to type into: at least, and beyond those that are filled
GROUPS = (
    (
        _("Permission to film"),
        ("operator", "operator_contact", "permission", "permission_by", "permission_on"),
        ("permission_says",),
    ),
    (_("Who else is in the hall"), ("juniors_in_hall",), ("juniors_settled", "other_users")),
    (_("Lanes and ropes"), ("lanes", "lane_m", "ropes", "flags_m"), ()),
    (
        _("Depth"),
        ("depth_measured_by", "depth_measured_on"),
        ("depth_measured_how",),
    ),
    (_("Blocks and edge"), ("has_blocks", "block_height_m", "edge_height_m"), ()),
    (
        _("What is there"),
        ("has_window", "window", "lifeguard"),
        ("power", "network", "notes"),
    ),
)
DEPTH_GROUP = 3  # whose rows are typed
SAID = [("unknown", _("nobody has said")), ("true", _("yes")), ("false", _("no"))]


@dataclass(frozen=True)
class TypedRow:
    """A row of the depth profile as it was typed."""

    number: int
    x_m: str
    depth_m: str


class VenueForm(forms.ModelForm):  # type: ignore[type-arg]
    ropes = forms.CharField(
        label=_("ropes that come out"),
        help_text=_("1, 2: rope 1 lies between lanes 1 and 2; lane 1 is the lane that is swum."),
        max_length=80,
        required=False,
    )

    class Meta:
        model = VenueSheet
        fields = tuple(name for name in FIELDS if name not in ("depth_profile", "ropes_out"))
        widgets = {
            **{
                name: forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
                for name in ("permission_on", "depth_measured_on")
            },
            **{
                name: forms.Textarea(attrs={"rows": 3})
                for name in ("permission_says", "juniors_settled", "other_users", "power")
            },
            **{name: forms.Textarea(attrs={"rows": 2}) for name in ("network", "notes")},
        }
        help_texts = {
            "permission_says": _("For instance which lanes, which hours, who must not be filmed."),
            "lifeguard": _("Who it is, or how many the pool gives."),
            "depth_measured_how": _("For instance: lane 1, tape with a weight, at the wall."),
            "power": _("Which outlets, where, and what may be plugged in."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["ropes"].initial = ", ".join(str(rope) for rope in self.instance.ropes_out)
        for name in ("juniors_in_hall", "has_blocks", "has_window"):
            self.fields[name].widget.choices = SAID  # type: ignore[attr-defined]
        for field in self.fields.values():
            if isinstance(field, forms.FloatField):
                field.widget.attrs |= {"inputmode": "decimal", "step": "any"}
        self.rows = self._typed() if self.is_bound else self._kept()
        self.row_errors: list[str] = []

    def _kept(self) -> list[TypedRow]:
        kept = [(f"{x:.10g}", f"{depth:.10g}") for x, depth in self.instance.depth_profile]
        return _rows(kept)

    def _typed(self) -> list[TypedRow]:
        """Empty rows fall out, so that a row's number is the one that complaints name."""
        sent = cast(QueryDict, self.data)
        both = zip(sent.getlist("depth_x"), sent.getlist("depth_m"), strict=False)
        typed = [(x.strip(), depth.strip()) for x, depth in both]
        return _rows([row for row in typed if any(row)])

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        values["depth_profile"] = [
            [_number(row.x_m), _number(row.depth_m)] for row in self.rows if row.x_m or row.depth_m
        ]
        self.complain(wrong_in(clinic=self.instance.clinic, values=self.values()))
        return values

    def clean_ropes(self) -> list[int]:
        words = self.cleaned_data["ropes"].replace(",", " ").replace(";", " ").split()
        if not all(word.isascii() and word.isdigit() and len(word) < 4 for word in words):
            raise ValidationError(_("Give the numbers of the ropes, as 1, 2."))
        return [int(word) for word in words]

    def values(self) -> dict[str, Any]:
        """By field name of VenueSheet, for `put_venue`."""
        values = dict(self.cleaned_data)
        if "ropes" in values:
            values["ropes_out"] = values.pop("ropes")
        return values

    def complain(self, errors: Iterable[tuple[str, str]]) -> None:
        """Each beside its field; those of rows beside the rows."""
        for where, sentence in errors:
            words = told(sentence)
            if where == "depth_profile":
                self.row_errors.append(words)
                self.add_error(None, words)
            else:
                name = "ropes" if where == "ropes_out" else where
                self.add_error(name if name in self.fields else None, words)

    def groups(self) -> list[dict[str, Any]]:
        return [
            {
                "title": title,
                "short": [self[name] for name in short],
                "long": [self[name] for name in long],
                "rows": self.rows if number == DEPTH_GROUP else [],
            }
            for number, (title, short, long) in enumerate(GROUPS)
        ]

    def _post_clean(self) -> None:
        """The action saves, not the form: the row stays as it is until then."""


def _rows(filled: list[tuple[str, str]]) -> list[TypedRow]:
    count = max(ROWS, len(filled) + MORE_ROWS)
    padded = [*filled, *[("", "")] * (count - len(filled))]
    return [TypedRow(number, x, depth) for number, (x, depth) in enumerate(padded, start=1)]


def _number(text: str) -> float | str:
    """What is no number stays as it was typed, to be complained of."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text


class CopyForm(forms.Form):
    clinic = forms.ModelChoiceField(
        label=_("Earlier clinic"), queryset=Clinic.objects.none(), empty_label=None
    )

    def __init__(self, *args: Any, clinics: QuerySet[Clinic], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["clinic"]
        field.queryset = clinics  # type: ignore[attr-defined]
        field.label_from_instance = _named  # type: ignore[attr-defined]


def _named(clinic: Clinic) -> str:
    return f"{clinic.name}, {clinic.date:%Y-%m-%d}"


def bad_words(bad: BadInput) -> list[str]:
    """For a message above the page."""
    return [told(sentence) for _where, sentence in bad.errors]
