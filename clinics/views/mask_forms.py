"""An area of a picture as people give it: in hundredths of its width and height."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from clinics.actions.masks import Area
from clinics.models import Clip, StationMask, Swimmer
from portal.row_field import RowChoiceField

PERCENT = 100
LABELS = (_("From the left, %"), _("From the top, %"), _("Wide, %"), _("High, %"))


def figures_of(mask: StationMask) -> list[tuple[Any, float]]:
    """Its four figures in hundredths, each with its label."""
    shares = (mask.left, mask.top, mask.width, mask.height)
    return [(label, round(share * PERCENT, 2)) for label, share in zip(LABELS, shares, strict=True)]


def _share(label: Any) -> Any:
    attributes = {"step": "any", "inputmode": "decimal", "min": "0", "max": "100"}
    return forms.FloatField(
        label=label, min_value=0, max_value=PERCENT, widget=forms.NumberInput(attrs=attributes)
    )


class AreaForm(forms.Form):
    left = _share(LABELS[0])
    top = _share(LABELS[1])
    width = _share(LABELS[2])
    height = _share(LABELS[3])

    def area(self) -> Area:
        names = ("left", "top", "width", "height")
        return Area(*(self.cleaned_data[name] / PERCENT for name in names))


class StationMaskForm(AreaForm):
    note = forms.CharField(label=_("What is there"), max_length=200, required=False)


class ClipMaskForm(AreaForm):
    first_frame = forms.IntegerField(min_value=0, label=_("First frame"))
    last_frame = forms.IntegerField(min_value=0, label=_("Last frame"))
    covers = RowChoiceField(Swimmer.objects.none(), required=False, label=_("Who is covered"))

    def __init__(self, *args: Any, clip: Clip, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        entry = clip.swim.entry
        entries = entry.clinic.entries.exclude(pk=entry.pk)
        people = Swimmer.objects.filter(entries__in=entries)
        self.fields["covers"].queryset = people  # type: ignore[attr-defined]
