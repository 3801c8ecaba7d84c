"""Pictures of one swim: what changes along it, where the time went, and what differs from the
person's earlier swims of the same kind. Nothing is drawn that does not follow from marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from clinics.models import Swim
from feedback.actions.progress import Series, Told, difference
from feedback.actions.swim_pictures import series_until
from feedback.compute.measuring import rows
from feedback.compute.measuring.measure import Unit
from feedback.compute.measuring.uncertain import Quantity
from feedback.compute.measuring.whole import Measured
from feedback.views.measure_words import name_of, told, with_plus_minus
from feedback.views.progress_shown import Bar, Picture, along_of, bar_of
from feedback.views.progress_words import against_before, swim_words


@dataclass(frozen=True)
class AgainstShown:
    """`row` None: neither has a ±, so it cannot be drawn in units of it."""

    name: str
    row: rows.AgainstRow | None
    now: str
    before: str
    before_swim: Swim
    before_when: str
    apart: str
    differs: bool
    sentence: str


@dataclass(frozen=True)
class OneSwimShown:
    along: list[Picture]
    bar: Bar | None
    against: list[AgainstShown]
    earlier: int  # swims of the same kind before it
    missing: list[str]  # what to mark so that more can be drawn
    band_x: float = rows.UNSURE_FROM_X
    band_width: float = rows.UNSURE_WIDTH

    @property
    def is_empty(self) -> bool:
        return not (self.along or self.bar or self.against)


def one_swim(until: Sequence[Told]) -> OneSwimShown:
    """`until`: the swim comes last, the person's earlier ones of the same kind before it."""
    now = until[-1]
    return OneSwimShown(
        along=along_of(now),
        bar=bar_of(now),
        against=[_against(series) for series in series_until(until)],
        earlier=len(until) - 1,
        missing=_missing(now.measured),
    )


def _against(series: Series) -> AgainstShown:
    before, told_apart = series.before(), against_before(series)
    assert before is not None and told_apart is not None  # a series has two points or more
    (_swim, now), (before_swim, earlier) = series.newest, before
    apart = difference(series.newest, before)
    return AgainstShown(
        name=name_of(now),
        row=rows.against(apart),
        now=told(now),
        before=told(earlier),
        before_swim=before_swim,
        before_when=swim_words(before_swim),
        apart=_signed(apart, now.unit),
        differs=told_apart.differs,
        sentence=told_apart.sentence,
    )


def _signed(apart: Quantity, unit: Unit) -> str:
    """More than before has a plus, so that nobody takes it for the value itself."""
    figure = with_plus_minus(apart, unit)
    return f"+{figure}" if apart.value > 0 else figure.replace("-", "\u2212", 1)


def _missing(measured: Measured) -> list[str]:
    """In the order of the pictures. A swim of one length has no turn and no second length."""
    course = measured.swim.course
    several = course.distance_m > course.course_m
    has = [one.key for one in measured.measures]
    told = []
    if has.count("segment-speed") < 2:
        told.append(
            _("Speed by segment: mark the head at three distances, such as 5, 10 and 15 m.")
        )
    if several and has.count("stroke-rate") < 2:
        told.append(_("Stroke rate along the swim: mark the hand entries of two lengths."))
    if several and has.count("stroke-length") < 2:
        told.append(
            _(
                "Stroke length along the swim: mark the hand entries and the head at two "
                "distances, in two lengths."
            )
        )
    return told
