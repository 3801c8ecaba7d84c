"""What is sent to place a tie by hand, and where the page stands in a recording."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

import numpy as np
from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.compute.time import clinic_instant, media_s_at, media_s_to_ticks, ticks_to_media_s
from clinics.models import ClockFit, Recording, Swim, Tie
from clinics.views.recording_frames import Hidden, clock_words

STEPS = (-100, -10, -1, 1, 10, 100)


def swims_of(row: Recording) -> QuerySet[Swim]:
    """The clinic's swims in running order, by name: what the start log shows to crew, too."""
    swims = Swim.objects.filter(entry__clinic=row.station.clinic)
    return swims.select_related("entry__swimmer").order_by("start_at")


class LookForm(forms.Form):
    """Where to look: a frame, or where a swim's start is expected."""

    frame = forms.IntegerField(required=False)
    step = forms.IntegerField(required=False)
    swim = forms.UUIDField(required=False)


class TieForm(forms.Form):
    """This frame shows the start of that swim."""

    frame = forms.IntegerField(min_value=0)
    kind = forms.ChoiceField(
        choices=[
            (Tie.Kind.START_SEEN, gettext_lazy("the start is seen")),
            (Tie.Kind.START_HEARD, gettext_lazy("the start signal is heard")),
        ],
    )

    def __init__(self, recording: Recording, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["swim"] = forms.ModelChoiceField(swims_of(recording))


class TwoForm(forms.Form):
    """This frame and that frame of another recording show the same moment."""

    frame = forms.IntegerField(min_value=0)
    other_frame = forms.IntegerField(min_value=0)

    def __init__(self, others: QuerySet[Recording], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["other"] = forms.ModelChoiceField(others)


class SlowMotionForm(forms.Form):
    """By which factor the camera stretched time: one of the usual ones, or another."""

    OTHER = "other"
    factor = forms.ChoiceField(
        choices=[("1", ""), ("2", ""), ("4", ""), ("8", ""), (OTHER, "")], required=True
    )
    other_factor = forms.FloatField(required=False)

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        if said.get("factor") == self.OTHER:
            if said.get("other_factor") is None:
                raise forms.ValidationError(_("Say the factor: how many times slower it plays."))
            said["chosen"] = said["other_factor"]
        elif "factor" in said:
            said["chosen"] = float(said["factor"])
        return said


@dataclass(frozen=True)
class Place:
    """Where the page stands in the recording. `hidden`: nobody sees this frame."""

    frame: int
    media_s: float
    steps: list[tuple[int, int]]
    hidden: bool

    def clock(self) -> str:
        return clock_words(self.media_s)


def place_at(row: Recording, frames: Any, number: int) -> Place:
    """The frame asked for, kept inside the recording."""
    number = min(max(number, 0), len(frames) - 1)
    steps = [(step, min(max(number + step, 0), len(frames) - 1)) for step in STEPS]
    ticks = int(frames[number])
    return Place(number, ticks_to_media_s(ticks), steps, ticks in Hidden(row))


def place_asked_for(row: Recording, frames: Any, form: LookForm) -> Place:
    """The frame asked for; a swim leads to where its start is expected."""
    form.is_valid()
    said = form.cleaned_data
    number = (said.get("frame") or 0) + (said.get("step") or 0)
    if said.get("frame") is None and said.get("swim"):
        number = _expected_frame(row, frames, said["swim"])
    return place_at(row, frames, number)


def _expected_frame(row: Recording, frames: Any, swim_pk: uuid.UUID) -> int:
    """Where the swim's start should be by the clock fit so far; the beginning without one."""
    fit = ClockFit.objects.filter(recording=row, zero_at__isnull=False).first()
    swim = Swim.objects.filter(entry__clinic=row.station.clinic, pk=swim_pk).first()
    if fit is None or fit.zero_at is None or swim is None:
        return 0
    ticks = media_s_to_ticks(media_s_at(fit.zero_at, fit.rate_ppm, swim.start_at))
    return int(np.searchsorted(frames, ticks))


def clock_of(row: Recording) -> ClockFit | None:
    """Its clock fit, where that places it."""
    fit: ClockFit | None = getattr(row, "clock_fit", None)
    return fit if fit is not None and fit.zero_at is not None else None


def _media_s_in(other: Recording, row: Recording, media_s: float) -> float | None:
    """Media time of another recording at the same instant, by the clock fits so far."""
    one, two = clock_of(row), clock_of(other)
    if one is None or two is None or one.zero_at is None or two.zero_at is None:
        return None
    at = clinic_instant(one.zero_at, one.rate_ppm, media_s)
    return media_s_at(two.zero_at, two.rate_ppm, at)


def ran_at_once(row: Recording, media_s: float, other: Recording) -> bool:
    """Whether the other recording ran at that instant of this one."""
    there_s = _media_s_in(other, row, media_s)
    return there_s is not None and 0 <= there_s <= (other.duration_s or 0)


def same_instant(row: Recording, media_s: float, other: Recording, other_frames: Any) -> int:
    """The frame of the other recording at the same instant; its middle where the clocks are not
    known."""
    there_s = _media_s_in(other, row, media_s)
    if there_s is None:
        return len(other_frames) // 2
    number = int(np.searchsorted(other_frames, media_s_to_ticks(there_s)))
    return min(number, len(other_frames) - 1)
