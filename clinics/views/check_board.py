"""What the check board shows, gathered with a fixed number of questions to the database."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch
from django.utils.translation import gettext as _

from clinics.actions.pass_on import is_passed_whole, reasons_not_to_pass, who_agrees
from clinics.models import Clinic, Clip, ClipFile, LaneGroup, Recognised, Recording, Station, Swim
from clinics.views.check_cells import Cell, Column, Filmed, View, view_of
from clinics.views.check_reasons import odd_words
from clinics.views.check_strip import Strip, strip_of

if TYPE_CHECKING:
    from portal.models import User

__all__ = ["Board", "Row", "board_of", "swims_to_check", "view_of"]

LOOK_FIRST, BEING_MADE, READY, PASSED = range(4)
KINDS_SHOWN = ["poster", "video", "strip"]


@dataclass(frozen=True)
class Row:
    """One swim. `odd` is what cannot be right; `kept` why it cannot be passed on, other than
    that nobody has looked yet."""

    swim: Swim
    cells: Sequence[Cell]
    place: int
    odd: Sequence[str]
    kept: Sequence[str]
    others: Sequence[str]
    strip_x: float | None
    before: Swim | None
    after: Swim | None
    has_card: bool  # a camera at the start ran before it

    @property
    def said_not_me(self) -> bool:
        return self.swim.person == Swim.Person.WRONG

    @property
    def confirmed(self) -> bool:
        return self.swim.person == Swim.Person.CONFIRMED

    @property
    def made_again(self) -> bool:
        """Passed on once, and clips were made since that nobody has looked at."""
        return self.swim.passed_at is not None and self.place != PASSED

    @property
    def making(self) -> bool:
        return any(view.being_made for cell in self.cells for view in cell.views)

    @property
    def can_pass(self) -> bool:
        return self.confirmed and self.swim.others_recorded_at is not None and not self.kept


@dataclass(frozen=True)
class Group:
    place: int
    name: str
    rows: Sequence[Row]


@dataclass(frozen=True)
class Board:
    columns: Sequence[Column]
    groups: Sequence[Group]
    swim_count: int
    clip_count: int
    times: dict[str, int]
    confirmed: int
    ready: Sequence[Swim]
    lane_groups: Sequence[tuple[LaneGroup, int]]  # with how many of each are ready
    not_shown: int
    strip: Strip

    def rows(self) -> list[Row]:
        return [row for group in self.groups for row in group.rows]


def swims_to_check(clinic: Clinic, user: User) -> list[Swim]:
    """The clinic's swims as the checker may see them, with all that is shown of them."""
    clips = Clip.objects.handled_by(user).select_related("station", "recording__clock_fit")
    files = ClipFile.objects.handled_by(user).filter(kind__in=KINDS_SHOWN)
    return list(
        Swim.objects.handled_by(user)
        .filter(entry__clinic=clinic)
        .select_related("entry__swimmer", "entry__lane_group", "person_by")
        .prefetch_related(
            Prefetch("clips", clips.prefetch_related(Prefetch("files", files), "masks")),
            Prefetch("recognised", Recognised.objects.select_related("swimmer")),
        )
        .order_by("start_at", "pk")
    )


def board_of(clinic: Clinic, user: User) -> Board:
    swims = swims_to_check(clinic, user)
    stations = list(clinic.stations.all())
    takes = list(
        Recording.objects.handled_by(user)
        .filter(station__clinic=clinic)
        .select_related("clock_fit", "camera", "station")
    )
    filmed = Filmed.of(clinic, takes)
    strip = strip_of(clinic, stations, takes, filmed, swims)
    rows = _rows(clinic, swims, _columns(stations, swims), filmed, strip)
    ready = [row.swim for row in rows if row.place == READY]
    return Board(
        columns=_columns(stations, swims),
        groups=_groups(rows),
        swim_count=len(swims),
        clip_count=sum(len(swim.clips.all()) for swim in swims),
        times=_times(rows),
        confirmed=sum(row.confirmed for row in rows),
        ready=ready,
        lane_groups=_lane_groups(ready),
        not_shown=Swim.objects.filter(entry__clinic=clinic).count() - len(swims),
        strip=strip,
    )


def _columns(stations: Sequence[Station], swims: Sequence[Swim]) -> list[Column]:
    passes: dict[uuid.UUID, set[int]] = {station.pk: {1} for station in stations}
    for swim in swims:
        for clip in swim.clips.all():
            passes[clip.station_id].add(clip.pass_no)
    return [
        Column(station, pass_no, many=len(passes[station.pk]) > 1)
        for station in stations
        for pass_no in sorted(passes[station.pk])
    ]


# --- rows ---------------------------------------------------------------------------------------


def _rows(
    clinic: Clinic,
    swims: Sequence[Swim],
    columns: Sequence[Column],
    filmed: Filmed,
    strip: Strip,
) -> list[Row]:
    agreeing = who_agrees(swims)
    odd = odd_words(clinic, swims)
    rows = []
    for number, swim in enumerate(swims):
        cells = _cells(swim, columns, filmed)
        reasons = reasons_not_to_pass(swim, agreeing)
        # the first two are states of their own on the board: who is it, and who else
        asked = (swim.person != Swim.Person.CONFIRMED) + (swim.others_recorded_at is None)
        strange = odd.get(swim.pk, [])
        rows.append(
            Row(
                swim=swim,
                cells=cells,
                place=_place(swim, reasons, bool(strange)),
                odd=strange,
                kept=reasons[asked:],
                others=[row.swimmer.name for row in swim.recognised.all()],
                strip_x=strip.x_of(swim),
                before=swims[number - 1] if number else None,
                after=swims[number + 1] if number + 1 < len(swims) else None,
                has_card=filmed.card_is_there(swim),
            )
        )
    return rows


def _cells(swim: Swim, columns: Sequence[Column], filmed: Filmed) -> list[Cell]:
    views: dict[tuple[uuid.UUID, int], list[View]] = {}
    for clip in swim.clips.all():
        views.setdefault((clip.station_id, clip.pass_no), []).append(view_of(clip, swim))
    cells = []
    for column in columns:
        there = views.get((column.station.pk, column.pass_no), [])
        cells.append(Cell(column, there, "" if there else filmed.why_none(swim, column)))
    return cells


def _place(swim: Swim, reasons: Collection[str], is_odd: bool) -> int:
    if not reasons:
        if is_passed_whole(swim):
            return PASSED
        return LOOK_FIRST if is_odd else READY
    looked_at = swim.person == Swim.Person.CONFIRMED and swim.others_recorded_at is not None
    making = any(clip.state in {"waiting", "rendering"} for clip in swim.clips.all())
    return BEING_MADE if looked_at and making and not is_odd else LOOK_FIRST


def _urgency(row: Row) -> tuple[bool, bool, int]:
    """Within a group: what a swimmer said, then what cannot be, then what has no sure time.
    Equal ones stay in order of their starts, so that swapped neighbours stand together."""
    states = [view.state for cell in row.cells for view in cell.views]
    unsure = len(states) - states.count("sure") + sum(not cell.views for cell in row.cells)
    return (not row.said_not_me, not row.odd, -unsure)


def _groups(rows: Sequence[Row]) -> list[Group]:
    names = {
        LOOK_FIRST: _("Look at these first"),
        BEING_MADE: _("Looked at, clips still being made"),
        READY: _("Ready to pass on"),
        PASSED: _("Passed to the coaches"),
    }
    groups = [
        Group(place, name, sorted((row for row in rows if row.place == place), key=_urgency))
        for place, name in names.items()
    ]
    return [group for group in groups if group.rows]


def _lane_groups(ready: Sequence[Swim]) -> list[tuple[LaneGroup, int]]:
    counts = Counter(swim.entry.lane_group for swim in ready)
    return sorted(counts.items(), key=lambda pair: (pair[0].order, pair[0].name))


def _times(rows: Sequence[Row]) -> dict[str, int]:
    cells = [cell for row in rows for cell in row.cells]
    counts = Counter(view.state for cell in cells for view in cell.views)
    missing = sum(not cell.views for cell in cells)
    return {
        "sure": counts["sure"],
        "look": counts["look"],
        "not_found": counts["not-found"] + missing,
    }
