"""Readings of the stroke rate in words, each beside the rate counted from hand entries."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from clinics.models import Swim
from feedback.actions.frames import swim_s_at
from feedback.actions.measured import measured_of
from feedback.actions.rate_read import JOB_KIND
from feedback.compute.measuring.measure import Measure, Unit
from feedback.compute.measuring.uncertain import Quantity
from feedback.compute.measuring.whole import Measured
from feedback.compute.rate_read.decide import TWO_ARMS
from feedback.compute.rate_read.result import Reading, Sure, Why, reading_of
from feedback.models import Mark, RateReading
from feedback.rate_read_form import STROKES
from feedback.views.measure_words import NO_BREAK, with_plus_minus
from feedback.views.room_data import StationView
from portal.models import Job, User

STATE_CLASS = {Sure.SURE: "", Sure.LOOK: "look", Sure.NOT_FOUND: "unknown"}


@dataclass(frozen=True)
class Counted:
    """The rate counted from hand entries of about the same time, and whether both agree."""

    figure: str
    agrees: bool


@dataclass(frozen=True)
class Item:
    """`job` while it is being read, or if that failed; only for who asked for it. `at_s`: swim
    time of the first frame that was read; None: the clock is not known."""

    row: RateReading
    view: StationView | None
    mine: bool
    job: Job | None
    reading: Reading | None
    at_s: float | None
    counted: Counted | None = None

    @property
    def when(self) -> str:
        """“7.2 to 12.9 s”: of what was read, or of the strokes that it is read from."""
        if self.at_s is None:
            return ""
        span_s = (self.row.to_ticks - self.row.from_ticks) / 90_000
        ends = (0.0, span_s)
        if self.reading is not None and self.reading.to_s > 0:
            ends = (self.reading.from_s, self.reading.to_s)
        begin, end = (number_format(round(self.at_s + one, 1) + 0.0, 1) for one in ends)
        return _("%(begin)s to %(end)s s") % {"begin": begin, "end": end}

    @property
    def figure(self) -> str:
        """“42.1 cycles/min ± 0.6”; empty: not told."""
        quantity = self.reading.quantity if self.reading else None
        return cycles_a_minute(quantity) if quantity else ""

    @property
    def from_cycles(self) -> str:
        count = round(self.reading.cycles) if self.reading else 0
        return ngettext("from %(n)d cycle", "from %(n)d cycles", count) % {"n": count}

    @property
    def state(self) -> str:
        return sure_words(self.reading) if self.reading else ""

    @property
    def state_class(self) -> str:
        return STATE_CLASS[self.reading.sure] if self.reading else ""

    @property
    def why(self) -> str:
        return why_words(self.reading) if self.reading else ""

    @property
    def other_units(self) -> list[str]:
        quantity = self.reading.quantity if self.reading else None
        return in_other_units(quantity, self.row.stroke) if quantity else []

    @property
    def stroke(self) -> str:
        return str(dict(STROKES).get(self.row.stroke, ""))

    @property
    def followed(self) -> str:
        """For the script: where the box was, in swim_s, so that it can be shown in the picture."""
        if self.reading is None or self.view is None or self.at_s is None or not self.reading.way:
            return ""
        width, height = self.reading.box
        way = [[self.at_s + one.at_s, one.x, one.y] for one in self.reading.way]
        begins_s = self.at_s + self.reading.from_s
        return json.dumps(
            {
                "view": self.view.key,
                "at_s": begins_s,
                "width": width,
                "height": height,
                "way": way,
            }
        )


def readings_of(swim: Swim, user: User, views: Sequence[StationView]) -> list[Item]:
    """Newest first; what is not ready only for who asked for it."""
    rows = list(
        RateReading.objects.visible_to(user)
        .filter(swim=swim)
        .select_related("asked_by", "recording__clock_fit")
    )
    rows = [row for row in rows if row.asked_by_id == user.pk or row.state == "ready"]
    unmade = [row.pk for row in rows if row.state != RateReading.State.READY]
    jobs = Job.objects.filter(kind=JOB_KIND, subject_id__in=unmade) if unmade else []
    newest = {job.subject_id: job for job in sorted(jobs, key=lambda job: job.created_at)}
    by_clip = {view.clip.pk: view for view in views}
    told = any(row.result and row.result["rate_per_min"] for row in rows)
    seen = Mark.objects.visible_to(user)
    measured = measured_of(swim, seen, by=user) if told else None
    items = []
    for row in rows:
        reading = reading_of(row.result) if row.result else None
        at_s = swim_s_at(swim, row.recording, row.from_ticks)
        view = by_clip.get(row.clip_id) if row.clip_id else None
        counted = _counted(measured, reading, at_s) if measured and reading else None
        mine = row.asked_by_id == user.pk
        items.append(Item(row, view, mine, newest.get(row.pk), reading, at_s, counted))
    return items


def _counted(measured: Measured, reading: Reading, at_s: float | None) -> Counted | None:
    """Of the length whose entries lie nearest in time."""
    quantity = reading.quantity
    rates = [one for one in measured.measures if one.key == "stroke-rate"]
    if quantity is None or at_s is None or not rates:
        return None
    middle_s = at_s + (reading.from_s + reading.to_s) / 2
    when = {one.key: one.frame_s for length in measured.swim.lengths for one in length.hands}

    def away_s(rate: Measure) -> float:
        times = [when[key] for key in rate.marks if key in when]
        return abs(sum(times) / len(times) - middle_s) if times else float("inf")

    nearest = min(rates, key=away_s)
    apart = quantity - nearest.quantity
    agrees = abs(apart.value) <= apart.half_width_95
    return Counted(cycles_a_minute(nearest.quantity), agrees)


# --- words ------------------------------------------------------------------------------------


def cycles_a_minute(quantity: Quantity) -> str:
    """“42.1 cycles/min ± 0.6”."""
    return _in_unit(quantity, _("cycles/min"))


def _in_unit(quantity: Quantity, unit: str) -> str:
    value, _sign, half = with_plus_minus(quantity, Unit.COUNT).partition("±")
    return f"{value.strip()}{NO_BREAK}{unit} ±{NO_BREAK}{half.strip()}" if half else value


def in_other_units(quantity: Quantity, stroke: str) -> list[str]:
    """Strokes a minute, where a cycle is two, and hertz."""
    arms = 2.0 if stroke in TWO_ARMS else 1.0
    return [
        _in_unit(quantity.times(arms), _("strokes/min")),
        with_plus_minus(quantity.times(1 / 60), Unit.PER_S),
    ]


def sure_words(reading: Reading) -> str:
    if reading.sure is Sure.SURE:
        return pgettext("a measure", "sure")
    return _("have a look") if reading.sure is Sure.LOOK else _("could not tell")


def why_words(reading: Reading) -> str:
    """Why it could not be told, or what to look at."""
    others = " / ".join(number_format(round(other, 1), 1) for other in reading.others)
    if reading.why is Why.TWO_FIT and reading.sure is Sure.LOOK:
        said = _("%(others)s would fit too, if each arm shows alike or only one of them shows")
        return said % {"others": others}
    if reading.why is Why.TWO_FIT:
        return _("two rates fit: %(others)s cycles/min") % {"others": others}
    words = _TOLD if reading.sure is Sure.LOOK else _NOT_TOLD
    return words[reading.why]() if reading.why in words else ""


_NOT_TOLD = {
    Why.TOO_SHORT: lambda: _("there are too few pictures: read a longer span"),
    Why.TOO_FEW: lambda: _("fewer than three cycles are in the picture"),
    Why.NOT_FOLLOWED: lambda: _(
        "something else moves as much: set a box around the swimmer, on a frame that shows them"
    ),
    Why.TOO_QUICK: lambda: _("what comes again is too quick for strokes: kicks, perhaps"),
    Why.NOTHING: lambda: _("nothing comes again clearly: try another view, a loop, or a box"),
    Why.UNSTEADY: lambda: _("parts of it say different rates: set a loop around even strokes"),
}
_TOLD = {
    Why.NOT_FOLLOWED: lambda: _("something else moves nearly as much: see what was followed"),
    Why.UNSTEADY: lambda: _("its parts differ a little"),
    Why.FAINT: lambda: _("it comes again, but not clearly"),
    Why.FEW: lambda: _("few cycles are in the picture"),
    Why.RARE: lambda: _("hardly anybody swims this rate"),
}
