"""The page that a swimmer takes home, as it is read on screen and on paper: of one choice, with the
numbers as they are known now. Coaches look at the same page before they give it."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.models import Clip, Swim
from clinics.views.words import said
from feedback.actions.comparable import same_person
from feedback.actions.frames import swim_s_at
from feedback.actions.measured import measured_many
from feedback.actions.take_home import words_sent
from feedback.actions.take_home_stills import proposed, stills_of
from feedback.compute.measuring.events import Seen
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.whole import Measured
from feedback.compute.phases import WITHIN, phases_between
from feedback.compute.take_along import SpecWrong, spec_of
from feedback.compute.take_home import (
    MOST_STILLS,
    Choice,
    choice_of,
    chosen,
    key_of,
)
from feedback.models import FeedbackSent, Mark, TakeAlong, TakeHome
from feedback.models.phases import Phase
from feedback.views.mark_list import PlacedMark, flags_of
from feedback.views.measure_words import NO_BREAK, sure_words, told
from feedback.views.measures_places import place_words, seen_in
from feedback.views.measures_words import why_unsure
from feedback.views.on_strip import clip_names, lane_of
from feedback.views.take_along_list import times
from feedback.views.take_home_words import against_words, from_words, marks_under, names_with_ends
from portal.compute.lane_strip import Instant, Lane, Span
from portal.models import User


@dataclass(frozen=True)
class Line:
    """A measure: its figure with ±, in words how sure it is, what it is, where its metres are from,
    and last time."""

    key: str
    name: str
    figure: str
    sure: str
    why_unsure: str
    says: str
    places: list[str]
    last_time: str


@dataclass(frozen=True)
class Still:
    key: uuid.UUID
    row: TakeAlong
    view: str
    time: str

    @property
    def ready(self) -> bool:
        return self.row.state == TakeAlong.State.READY


@dataclass(frozen=True)
class Known:
    """What is known of a swim now, as far as the reader sees it; the marks come with all that is
    said of them."""

    swim: Swim
    marks: list[Mark]
    measured: Measured
    seen: dict[str, Seen]
    stills: list[Still]

    @property
    def measures(self) -> tuple[Measure, ...]:
        return self.measured.measures


@dataclass(frozen=True)
class Page:
    """`stills_gone`: how many of the chosen stills are not there any more, or not for this reader.
    `before`: the earlier swim that it stands against; `before_gone`: it was chosen, and is out of
    sight. `given_at` None: it is not given; coaches look at it beforehand."""

    swim: Swim
    sent: FeedbackSent | None
    lines: list[Line]
    stills: list[Still]
    stills_gone: int
    before: Swim | None
    before_gone: bool
    lane: Lane
    measured_from: list[str]
    given_at: dt.datetime | None
    given_by: User | None
    as_of: dt.datetime

    @cached_property
    def pictures(self) -> list[Still]:
        return [still for still in self.stills if still.ready]

    @property
    def other_distance(self) -> bool:
        """Last time's swim was longer or shorter: its beginning compares, with that said."""
        now, then = self.swim.entry.clinic, self.before.entry.clinic if self.before else None
        return then is not None and then.distance_m != now.distance_m

    @property
    def being_made(self) -> int:
        return len(self.stills) - len(self.pictures)


def known_of(swim: Swim, reader: User) -> Known:
    """A handful of queries, however many marks."""
    marks = Mark.objects.visible_to(reader)
    its = marks.filter(swim=swim).select_related(
        "placed_by", "recording__clock_fit", "recording__station"
    )
    measured = measured_many([swim], marks)[swim.pk]
    stills = [_still(row) for row in stills_of(swim, reader)]
    return Known(swim, list(its), measured, seen_in(measured.swim), stills)


def _still(row: TakeAlong) -> Still:
    try:
        view = ", ".join(spec_of(row.spec).names)
    except SpecWrong:
        view = ""
    return Still(row.pk, row, view, times(row).replace(" s", f"{NO_BREAK}s"))


def choice_now(known: Known, reader: User, row: TakeHome | None) -> Choice:
    """What the coaches put together; where nobody did yet, what is proposed."""
    if row is not None:
        return choice_of(row.choice)
    return proposed(known.swim, reader, known.measures)


def page_given(row: TakeHome, swim: Swim, reader: User) -> Page:
    """As its swimmer has it."""
    return page_of(
        known_of(swim, reader),
        reader,
        choice_of(row.given),
        sent=row.sent,
        given_at=row.given_at,
        given_by=row.given_by,
    )


def page_before_giving(known: Known, reader: User, choice: Choice) -> Page:
    """As the swimmer would read it if it were given now."""
    return page_of(known, reader, choice, sent=words_sent(known.swim))


def page_of(
    known: Known,
    reader: User,
    choice: Choice,
    *,
    sent: FeedbackSent | None,
    given_at: dt.datetime | None = None,
    given_by: User | None = None,
) -> Page:
    swim = known.swim
    course_m = swim.entry.clinic.course_m
    measures = chosen(known.measures, choice.measures, course_m=course_m)
    before, earlier = _before(choice, swim, reader)
    stills = [still for still in known.stills if str(still.key) in choice.stills]
    return Page(
        swim=swim,
        sent=sent,
        lines=_lines(measures, known.seen, earlier),
        stills=stills[:MOST_STILLS],
        stills_gone=len(choice.stills) - len(stills),
        before=before,
        before_gone=bool(choice.before) and before is None,
        lane=_lane(known, reader),
        measured_from=from_words(swim, marks_under(measures, known.marks), known.seen),
        given_at=given_at,
        given_by=given_by,
        as_of=timezone.now(),
    )


def before_of(choice: Choice, swim: Swim, reader: User) -> Swim | None:
    """The earlier swim while the reader may see it, it is still given, and still of the same
    person: coaches may see both after one of them turned out to be somebody else's."""
    if not choice.before:
        return None
    swims = Swim.objects.reviewed_by(reader).filter(pk=choice.before, given_at__isnull=False)
    before = swims.select_related("entry__swimmer", "entry__clinic").first()
    return before if before is not None and same_person(swim, before) else None


def _before(choice: Choice, swim: Swim, reader: User) -> tuple[Swim | None, Measured | None]:
    before = before_of(choice, swim, reader)
    if before is None:
        return None, None
    return before, measured_many([before], Mark.objects.visible_to(reader))[before.pk]


def _lines(
    measures: Sequence[Measure], seen: Mapping[str, Seen], earlier: Measured | None
) -> list[Line]:
    return [
        Line(
            key=key_of(one),
            name=name,
            figure=told(one),
            sure=sure_words(one.quantity),
            why_unsure=why_unsure(one),
            says=said(one.definition.says),
            places=place_words(one, seen),
            last_time=against_words(one, _same(earlier, one)),
        )
        for one, name in zip(measures, names_with_ends(measures, seen), strict=True)
    ]


def _same(earlier: Measured | None, one: Measure) -> Measure | None:
    found = earlier.measures if earlier is not None else ()
    return next((other for other in found if key_of(other) == key_of(one)), None)


def _lane(known: Known, reader: User) -> Lane:
    """Strokes and distances stay off it: it tells of phases and walls. A wall that was marked
    stands where it was touched, the others where the pace puts them."""
    swim = known.swim
    placed = [
        PlacedMark(mark, swim_s_at(swim, mark.recording, mark.pts_ticks), None, None, False)
        for mark in known.marks
    ]
    timed = [(one.mark.kind, one.at_s) for one in placed if one.at_s is not None]
    spans = phases_between(timed)
    clips = Clip.objects.visible_to(reader).filter(swim=swim).select_related("station")
    lane = lane_of(
        swim,
        clip_names(clips),
        (),
        flags=flags_of([one for one in placed if one.mark.kind not in WITHIN]),
        phases=[Span(one.from_s, one.to_s, str(Phase(one.phase).label)) for one in spans],
    )
    return _at_marked_walls(lane, known)


def _at_marked_walls(lane: Lane, known: Known) -> Lane:
    touched = {one.number: one.quantity.value for one in known.measures if one.key == "split"}
    walls = [
        Instant(touched[n], name=_("turn")) if n in touched else wall
        for n, wall in enumerate(lane.walls)
    ]
    leaves_s = touched.get(len(walls), lane.leaves_s)
    ends = [wall.at_s for wall in walls] + ([leaves_s] if leaves_s is not None else [])
    return replace(lane, walls=tuple(walls), leaves_s=leaves_s, end_s=max(lane.end_s, *ends))
