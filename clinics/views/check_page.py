"""All that the page of one swim shows: its clips with their ends, the card, who else it could be,
and what could be cut by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from clinics.actions import board
from clinics.compute.time import seconds_between
from clinics.compute.windows import windows_for
from clinics.models import Clip, Recording, Station, Swim
from clinics.views.check_card import LONGEST_S, STEP_S, card_before_s, seconds_into, shown_at
from clinics.views.check_cells import View, view_of
from clinics.views.check_clip import was_words
from clinics.views.check_lane import NUDGES, Ends, Takes, ends_of, ends_of_clip, expected_span
from clinics.views.check_told import Told, told

if TYPE_CHECKING:
    from portal.models import User

NEIGHBOURS = 2  # before and after, to compare by eye


@dataclass(frozen=True)
class OneClip:
    """A clip on the page; `ends` is None while its recording cannot be looked into."""

    view: View
    ends: Ends | None
    was: str


@dataclass(frozen=True)
class Card:
    """The start camera at a moment before the start, in seconds; with the moments that can be
    looked at next, None at an end."""

    before_s: float
    earlier_s: float | None
    later_s: float | None

    @property
    def words(self) -> str:
        if self.before_s < 0:
            return _("%(s)g s after the start") % {"s": -self.before_s}
        return _("%(s)g s before the start") % {"s": self.before_s}


@dataclass(frozen=True)
class Neighbour:
    """Somebody who swam just before or after: whose swim this one may be."""

    swim: Swim
    still: View | None
    after_s: float  # how much later than this swim; negative: before it

    @property
    def away_s(self) -> int:
        return abs(round(self.after_s))

    @property
    def is_before(self) -> bool:
        return self.after_s < 0


@dataclass(frozen=True)
class Uncut:
    """A pass by a station of which there is no clip, and where it should be."""

    station: Station
    pass_no: int
    recordings: Sequence[Recording]
    ends: Ends | None


@dataclass(frozen=True)
class Page:
    swim: Swim
    clips: Sequence[OneClip]
    card: Card | None
    own_still: View | None
    neighbours: Sequence[Neighbour]
    other_goes: Sequence[tuple[Swim, Sequence[View]]]
    uncut: Sequence[Uncut]
    recordings: Sequence[Recording]
    last_act: Told | None
    nudges: Sequence[int]
    place: int
    count: int
    before: Swim | None
    after: Swim | None


def page_of(swim: Swim, swims: Sequence[Swim], user: User, *, before_s: float | None) -> Page:
    """`swims`: all of the clinic that the user checks, in order, with clips and files."""
    place = next(i for i, one in enumerate(swims) if one.pk == swim.pk)
    shown, takes = swims[place], Takes(swim.entry.clinic, user)
    clips = [_one_clip(clip, shown, swims, takes) for clip in shown.clips.all()]
    act = board.last_act(swim.entry.clinic, user)
    return Page(
        swim=shown,
        clips=clips,
        card=_card(shown, takes, before_s),
        own_still=_still(shown),
        neighbours=_neighbours(shown, swims, place),
        other_goes=_other_goes(shown, swims),
        uncut=_uncut(shown, swims, takes),
        recordings=takes.rows,
        last_act=told([act])[0] if act else None,
        nudges=NUDGES,
        place=place + 1,
        count=len(swims),
        before=swims[place - 1] if place else None,
        after=swims[place + 1] if place + 1 < len(swims) else None,
    )


def _one_clip(clip: Clip, swim: Swim, swims: Sequence[Swim], takes: Takes) -> OneClip:
    return OneClip(view_of(clip, swim), ends_of_clip(clip, swims, takes), was_words(clip))


def _card(swim: Swim, takes: Takes, asked_s: float | None) -> Card | None:
    """None: no camera at the start ran then, its clock is not found, or nobody may see it."""
    before_s = card_before_s(swim, takes, asked_s)
    shown = shown_at(swim, takes, before_s)
    if shown is None:
        return None
    steps: list[float | None] = []
    for there_s in (before_s + STEP_S, before_s - STEP_S):
        inside = seconds_into(shown.recording, swim, there_s) is not None
        steps.append(there_s if inside and -10 <= there_s <= LONGEST_S else None)
    return Card(before_s, steps[0], steps[1])


# --- who else it could be ------------------------------------------------------------------------


def _still(swim: Swim) -> View | None:
    """The best to tell a person by: the start, else whatever there is."""
    views = [view_of(clip, swim) for clip in swim.clips.all()]
    with_still = [view for view in views if view.poster]
    at_start = (v for v in with_still if v.clip.station.kind == Station.Kind.START_SIDE)
    return next(at_start, with_still[0] if with_still else None)


def _neighbours(swim: Swim, swims: Sequence[Swim], place: int) -> list[Neighbour]:
    """The nearest that are somebody else's, in order of their starts."""
    before = [one for one in swims[:place] if one.entry_id != swim.entry_id][-NEIGHBOURS:]
    after = [one for one in swims[place + 1 :] if one.entry_id != swim.entry_id][:NEIGHBOURS]
    return [
        Neighbour(one, _still(one), seconds_between(swim.start_at, one.start_at))
        for one in (*before, *after)
    ]


def _other_goes(swim: Swim, swims: Sequence[Swim]) -> list[tuple[Swim, list[View]]]:
    mine = [one for one in swims if one.entry_id == swim.entry_id and one.pk != swim.pk]
    return [(one, [view_of(clip, one) for clip in one.clips.all()]) for one in mine]


# --- what could be cut by hand --------------------------------------------------------------------


def _uncut(swim: Swim, swims: Sequence[Swim], takes: Takes) -> list[Uncut]:
    """Passes that are expected and in no clip, at stations that recorded anything."""
    clinic = swim.entry.clinic
    there = {(clip.station_id, clip.pass_no) for clip in swim.clips.all()}
    stations = {row.station_id: row.station for row in takes.rows}
    found = []
    for station in stations.values():
        own = [row for row in takes.rows if row.station_id == station.pk]
        for window in windows_for(
            kind=station.kind,
            x_m=station.x_m,
            given=station.windows,
            course_m=clinic.course_m,
            distance_m=clinic.distance_m,
            pace_s_per_100m=swim.entry.pace_s_per_100m,
        ):
            if (station.pk, window.pass_no) in there:
                continue
            ends = _expected(swim, swims, own, (window.in_s, window.out_s), takes)
            first = [ends.recording] if ends else []
            rest = [row for row in own if row not in first]
            found.append(Uncut(station, window.pass_no, [*first, *rest], ends))
    return found


def _expected(
    swim: Swim,
    swims: Sequence[Swim],
    recordings: Sequence[Recording],
    span_s: tuple[float, float],
    takes: Takes,
) -> Ends | None:
    for row in recordings:
        frames = expected_span(row, swim, *span_s, takes)
        if frames is not None:
            return ends_of(row, *frames, swims, takes)
    return None
