"""Cutting: which spans of which recordings become clips.

Planning is cheap and may run as often as somebody likes: it moves clips whose window moved,
adds and removes what the fits now say, and leaves alone what is the same, what a person
placed, and what is on its way. Rendering is a job per clip (render_clips.py).
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from clinics.actions.clip_files import ask_to_render, cancel_render, remove_clip
from clinics.actions.clip_source import is_all_there_is, original_is_there
from clinics.actions.cut_placed import keep_placed_clear
from clinics.actions.cut_spans import Cut, LeftOut, wanted_cuts
from clinics.actions.dropped import plan_dropped
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.keeping import clips_delete_by
from clinics.compute.clockfit import FILE_DATE
from clinics.compute.geometry import DECK, START_SIDE, TURN_WINDOW, UNDERWATER
from clinics.compute.time import TICKS_PER_S
from clinics.compute.windows import PERSON
from clinics.models import Clinic, Clip, ClockFit, Consent, Recording, Station, Swim
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User

MOST_USEFUL = (START_SIDE, UNDERWATER, TURN_WINDOW, DECK)  # the number card is on the first
SAME_TICKS = TICKS_PER_S // 20  # moved by less, a window is the same: it begins on no event


@dataclass(frozen=True)
class CutPlan:
    """How many clips were added, moved, removed or left as they were."""

    added: int
    moved: int
    removed: int
    unchanged: int
    waiting: int


@transaction.atomic
def plan_cuts(
    *,
    clinic: Clinic,
    by: User | None = None,
    coarse_too: bool = False,
    failed_again: bool = False,
) -> CutPlan:
    """Bring the clinic's clips in line with swims, fits and windows; ask for the renders.

    Swims of whoever has not agreed to be filmed get no clip: what waits to be made of them
    is cancelled. If several recordings of a station hold a window, the clip is cut from the
    one that holds most of it. Clips that failed are tried again only if `failed_again`.

    Recordings that only their file's date places are cut only if `coarse_too`, when a person
    asks for it: a camera's date can be a swimmer off, and the next tie would make every clip
    of it again. Clips that were cut from them then stay.

    What is dropped (dropped.py) is planned first, and even a clip that a person placed is cut
    around it.
    """
    clinic = Clinic.objects.select_for_update().select_related("club").get(pk=clinic.pk)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its clips stay as they are."))])
    plan_dropped(clinic=clinic)
    swims = swims_in_order(clinic)
    agreed = who_agrees_now(clinic)
    filmed = [swim for swim in swims if swim.entry.swimmer_id in agreed]
    wanted = {
        (cut.swim.pk, cut.station.pk, cut.window.pass_no): cut
        for cut in wanted_cuts(clinic, filmed, coarse_too).cuts
    }
    order = _order_of_work(swims, clinic)
    existing, doubled = _existing(clinic)
    added = moved = unchanged = 0
    removed = sum(_leave_out(clip, has_agreed=True, by=by) for clip in doubled)
    for key, clip in existing.items():
        if key in wanted or (not coarse_too and _is_coarse(clip.recording)):
            continue
        removed += _leave_out(clip, has_agreed=clip.swim.entry.swimmer_id in agreed, by=by)
    placed = [clip for clip in existing.values() if clip.pk and clip.window_by == PERSON]
    trimmed, gone = keep_placed_clear(placed, clinic, by)
    moved, removed = moved + trimmed, removed + gone
    for key, cut in wanted.items():
        known = existing.get(key)
        if known is None or known.pk is None:
            if not original_is_there(cut.recording):
                continue  # there is nothing to make it from
            ask_to_render(_create(cut), order(cut.swim.pk, cut.station), by)
            added += 1
        elif _is_same(known, cut) or is_all_there_is(known):
            _refresh(known, cut)
            if known.state == Clip.State.FAILED and failed_again:
                Clip.objects.filter(pk=known.pk).update(state=Clip.State.WAITING, reason="")
                known.state = Clip.State.WAITING
            if known.state in (Clip.State.WAITING, Clip.State.RENDERING):
                ask_to_render(known, order(cut.swim.pk, cut.station), by)
            unchanged += 1
        else:
            ask_to_render(_move(known, cut), order(cut.swim.pk, cut.station), by)
            moved += 1
    waiting = Clip.objects.filter(swim__entry__clinic=clinic).exclude(state="ready").count()
    plan = CutPlan(added, moved, removed, unchanged, waiting)
    if added or moved or removed:
        record(
            action="cuts.planned",
            by=by,
            subject=clinic,
            club=clinic.club,
            detail={"added": added, "moved": moved, "removed": removed},
        )
    return plan


def left_out(clinic: Clinic, *, coarse_too: bool = False) -> list[LeftOut]:
    """Which passes of whoever agrees have no clip although their station filmed, and why."""
    agreed = who_agrees_now(clinic)
    filmed = [swim for swim in swims_in_order(clinic) if swim.entry.swimmer_id in agreed]
    made = set(
        Clip.objects.filter(swim__entry__clinic=clinic).values_list(
            "swim_id", "station_id", "pass_no"
        )
    )
    lacking = wanted_cuts(clinic, filmed, coarse_too).left_out
    return [one for one in lacking if (one.swim.pk, one.station.pk, one.pass_no) not in made]


def swims_in_order(clinic: Clinic) -> list[Swim]:
    swims = Swim.objects.filter(entry__clinic=clinic)
    return list(swims.select_related("entry__swimmer", "entry__clinic").order_by("start_at"))


def who_agrees_now(clinic: Clinic) -> set[uuid.UUID]:
    """Swimmers of the club who agree to be filmed."""
    current = Consent.objects.filter(purpose=FILM_AND_REVIEW, ended_at__isnull=True)
    return set(current.filter(swimmer__club=clinic.club_id).values_list("swimmer_id", flat=True))


def _order_of_work(swims: list[Swim], clinic: Clinic) -> Callable[[uuid.UUID, Station], int]:
    """By swim in running order, of each the most useful view first."""
    rank = {swim.pk: number for number, swim in enumerate(swims)}
    useful = {kind: number for number, kind in enumerate(MOST_USEFUL)}
    stations = sorted(clinic.stations.all(), key=lambda one: (useful[one.kind], one.order))
    place = {station.pk: number for number, station in enumerate(stations)}
    return lambda swim_pk, station: rank[swim_pk] * len(place) + place[station.pk]


Key = tuple[uuid.UUID, uuid.UUID, int]


def _existing(clinic: Clinic) -> tuple[dict[Key, Clip], list[Clip]]:
    """Clips by swim, station and pass; and those that are one too many of the same pass.

    What a person placed counts before what was planned, then the newest.
    """
    clips = Clip.objects.filter(swim__entry__clinic=clinic)
    rows = clips.select_related("swim__entry", "recording__clock_fit").order_by("created_at")
    found: dict[Key, Clip] = {}
    doubled = []
    for clip in sorted(rows, key=lambda clip: clip.window_by == PERSON):
        key = (clip.swim_id, clip.station_id, clip.pass_no)
        if key in found:
            doubled.append(found[key])
        found[key] = clip
    return found, doubled


def _is_coarse(recording: Recording) -> bool:
    fit: ClockFit | None = getattr(recording, "clock_fit", None)
    return fit is not None and fit.method == FILE_DATE


def _is_same(clip: Clip, cut: Cut) -> bool:
    """Nothing to make again: placed by a person, or cut from there already but for a hair.

    A clip that is made is not made again only because motion now tells a narrower window.
    """
    if clip.window_by == PERSON:
        return True
    spans = [(cut.in_ticks, cut.out_ticks)]
    if clip.state == Clip.State.READY:
        spans.append(cut.plain_ticks)
    return clip.recording_id == cut.recording.pk and any(
        abs(clip.in_ticks - in_ticks) <= SAME_TICKS
        and abs(clip.out_ticks - out_ticks) <= SAME_TICKS
        for in_ticks, out_ticks in spans
    )


def _values(cut: Cut) -> dict[str, Any]:
    return {
        "recording": cut.recording,
        "in_ticks": cut.in_ticks,
        "out_ticks": cut.out_ticks,
        "first_frame": cut.first_frame,
        "frame_count": cut.frame_count,
        "window_by": cut.window.by,
        **_derived(cut),
    }


def _derived(cut: Cut) -> dict[str, Any]:
    """What follows from the fit without new files."""
    window = cut.window
    return {
        "time_state": cut.time_state,
        "seen_from_s": round(window.seen_from_s, 3),
        "seen_to_s": round(window.seen_to_s, 3),
        "seen_by": window.seen_by,
        "missing_before_s": round(window.missing_before_s, 3),
        "missing_after_s": round(window.missing_after_s, 3),
        "missing_by": window.missing_by,
    }


def _create(cut: Cut) -> Clip:
    return Clip.objects.create(
        swim=cut.swim,
        station=cut.station,
        pass_no=cut.window.pass_no,
        delete_by=clips_delete_by(cut.swim.entry.clinic, cut_at=timezone.now()),
        **_values(cut),
    )


def _move(clip: Clip, cut: Cut) -> Clip:
    """The clip's files stay until the new ones are there; the fence hides them meanwhile."""
    if clip.recording_id != cut.recording.pk:
        clip.masks.all().delete()  # they stand on frames of the recording that it was cut from
    Clip.objects.filter(pk=clip.pk).update(**_values(cut), state=Clip.State.WAITING, reason="")
    clip.refresh_from_db()
    return clip


def _refresh(clip: Clip, cut: Cut) -> None:
    """What is derived, without new files. What a person placed is left to cut_placed.py."""
    if clip.window_by == PERSON:
        return
    fresh = _derived(cut)
    if clip.seen_by == PERSON:
        fresh = {"time_state": cut.time_state}
    if any(getattr(clip, name) != value for name, value in fresh.items()):
        Clip.objects.filter(pk=clip.pk).update(**fresh)


def _leave_out(clip: Clip, *, has_agreed: bool, by: User | None) -> int:
    """A clip that no longer should be goes with its files; 1 if it went.

    Placed by a person: it stays. Its recording is just being read anew: it stays. Made while
    its swimmer agreed: it stays until it is deleted as that person wants; only what is still
    to be made is dropped.
    """
    if clip.window_by == PERSON or clip.recording.state != Recording.State.READY:
        return 0
    if not has_agreed and clip.files.exists():
        cancel_render(clip, by)
        return 0
    remove_clip(clip=clip, by=by)
    return 1
