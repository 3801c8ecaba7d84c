"""Which span of a recording a clip takes: wide enough for a wrong pace, no wider than filmed.

What is cut (`in_s` to `out_s`) is kept apart from when the swimmer is in picture
(`seen_from_s` to `seen_to_s`): the first leaves room, the second is the best guess, from what
moves in the picture where that is clear, else from pace and course.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from clinics.compute.geometry import Pass, passes

PACE_U = 0.15  # expected paces are guesses: right within this share
SLOW_U = 0.30  # slower by so much is still cut whole, if nobody else starts before that
QUICK_START_S = 2.5  # a dive and the glide after it are this much quicker than the pace, at most
SPARE_S = 1.0  # on both sides, so that nothing begins or ends abruptly
START_BEFORE_S, START_AFTER_S = 3.0, 8.0  # around a start: the call before it, the breakout
MOTION_ROOM_S = 2.0  # before and after what was seen to move
LEAST_S = 0.5  # less of the swimmer in picture is no clip
PACE, STATION, MOTION, PERSON = "pace", "station", "motion", "person"
RECORDING, DROPPED = "recording", "dropped"  # why a part is missing
GOES_BY = ("by", "turn", "touch")  # passes of a camera that stands, where motion tells


@dataclass(frozen=True)
class Window:
    """What is cut and when the swimmer is expected in picture, in swim_s.

    `by` says where the first comes from and `seen_by` the second: "pace", "station" (the
    plan's window) or "motion". `missing_before_s` and `missing_after_s`: how much of the span
    in picture was taken off by `clip_to` or `keep_clear`; `missing_by` why, the later reason.
    """

    pass_no: int
    in_s: float
    out_s: float
    seen_from_s: float
    seen_to_s: float
    by: str
    seen_by: str = PACE
    what: str = "by"
    missing_before_s: float = 0.0
    missing_after_s: float = 0.0
    missing_by: str = ""


def windows_for(
    *,
    kind: str,
    x_m: float,
    given: Iterable[Mapping[str, Any]],
    course_m: float,
    distance_m: float,
    pace_s_per_100m: float,
    u_s: float = 0.0,
    next_start_s: float | None = None,
) -> list[Window]:
    """One window for each pass of a swim at a station.

    `given` are the station's own: pass, from_s, to_s. `u_s` widens windows from the pace by
    how unsure start and clock are (standard uncertainty, in s; twice that is added).
    `next_start_s`: when the next swimmer starts, in swim_s; the lane is free only then, so a
    slow swimmer's window may reach that far.
    """
    own = {int(window["pass"]): window for window in given}
    expected = {
        one.pass_no: one
        for one in passes(
            kind=kind,
            x_m=x_m,
            course_m=course_m,
            distance_m=distance_m,
            pace_s_per_100m=pace_s_per_100m,
        )
    }
    found = []
    for pass_no in sorted(own.keys() | expected.keys()):
        if pass_no in own:
            window = own[pass_no]
            found.append(_given(expected.get(pass_no), pass_no, window["from_s"], window["to_s"]))
        else:
            found.append(_from_pace(expected[pass_no], 2 * u_s, next_start_s))
    return found


def _given(expected: Pass | None, pass_no: int, from_s: float, to_s: float) -> Window:
    """The plan's window stands as it is; within it the expected span, if they meet."""
    seen_from_s, seen_to_s, seen_by = float(from_s), float(to_s), STATION
    if expected is not None and expected.from_s < to_s and expected.to_s > from_s:
        seen_from_s, seen_to_s = max(from_s, expected.from_s), min(to_s, expected.to_s)
        seen_by = PACE
    what = expected.what if expected is not None else "by"
    return Window(
        pass_no, float(from_s), float(to_s), seen_from_s, seen_to_s, STATION, seen_by, what
    )


def _from_pace(one: Pass, unsure_s: float, next_start_s: float | None) -> Window:
    if one.what == "start":
        in_s, out_s = -START_BEFORE_S, max(START_AFTER_S, one.to_s)
    elif one.from_s < 0:  # along, with the start in picture
        in_s, out_s = -START_BEFORE_S, _latest_s(one.to_s, next_start_s)
    else:
        in_s = one.from_s * (1 - PACE_U) - QUICK_START_S - SPARE_S
        in_s = max(in_s, -START_BEFORE_S)
        out_s = _latest_s(one.to_s, next_start_s)
    return Window(
        one.pass_no,
        in_s - unsure_s,
        out_s + unsure_s,
        one.from_s,
        one.to_s,
        PACE,
        PACE,
        one.what,
    )


def _latest_s(expected_s: float, next_start_s: float | None) -> float:
    """When even a slow swimmer has gone by: the next start bounds it, but never below what a
    usual mistake in the pace makes."""
    usual_s = expected_s * (1 + PACE_U) + SPARE_S
    slow_s = expected_s * (1 + SLOW_U) + SPARE_S
    return max(usual_s, slow_s if next_start_s is None else min(slow_s, next_start_s))


def told_by_motion(window: Window, seen: tuple[float, float] | None) -> Window:
    """The window once motion has shown when the swimmer is in picture (swim_s).

    A window from the pace shrinks to that, with room on both sides; the plan's own window
    stands, but grows where the swimmer would be cut off. A start, and a camera that goes
    along, are left as they are: there everything moves.
    """
    if seen is None or window.what not in GOES_BY:
        return window
    from_s, to_s = seen
    begin_s, end_s = from_s - MOTION_ROOM_S, to_s + MOTION_ROOM_S
    if window.by == STATION:
        in_s, out_s = min(window.in_s, begin_s), max(window.out_s, end_s)
    else:
        in_s, out_s = max(window.in_s, begin_s), min(window.out_s, end_s)
    by = window.by if window.by == STATION else MOTION
    return replace(
        window, in_s=in_s, out_s=out_s, seen_from_s=from_s, seen_to_s=to_s, by=by, seen_by=MOTION
    )


def clip_to(window: Window, from_s: float, to_s: float, *, why: str = RECORDING) -> Window | None:
    """The window as far as a recording has it (`from_s` to `to_s`, swim_s); None if too little
    of the swimmer is in it: half a second, or half of the expected span if that is shorter."""
    least_s = min(LEAST_S, (window.seen_to_s - window.seen_from_s) / 2)
    seen_from_s, seen_to_s = max(window.seen_from_s, from_s), min(window.seen_to_s, to_s)
    if seen_to_s - seen_from_s < least_s:
        return None
    before_s, after_s = seen_from_s - window.seen_from_s, window.seen_to_s - seen_to_s
    return replace(
        window,
        in_s=max(window.in_s, from_s),
        out_s=min(window.out_s, to_s),
        seen_from_s=seen_from_s,
        seen_to_s=seen_to_s,
        missing_before_s=window.missing_before_s + before_s,
        missing_after_s=window.missing_after_s + after_s,
        missing_by=why if before_s > 0 or after_s > 0 else window.missing_by,
    )


def keep_clear(window: Window, dropped: Sequence[tuple[float, float]]) -> Window | None:
    """The part of the window that lies in none of the dropped spans (swim_s) and has most of
    the swimmer in it; None if there is too little of the swimmer in every part."""
    best: Window | None = None
    for from_s, to_s in free_parts(window.in_s, window.out_s, dropped):
        part = clip_to(window, from_s, to_s, why=DROPPED)
        if part is not None and (best is None or _length(part) > _length(best)):
            best = part
    return best


def _length(window: Window) -> tuple[float, float]:
    return (window.seen_to_s - window.seen_from_s, window.out_s - window.in_s)


def free_parts(
    begin: float, end: float, dropped: Iterable[tuple[float, float]]
) -> list[tuple[float, float]]:
    """What is left of `begin` to `end` without the dropped spans, in order.

    >>> free_parts(0, 10, [(2, 3), (8, 12), (2.5, 4)])
    [(0, 2), (4, 8)]
    """
    parts, at = [], begin
    for from_, to in sorted(dropped):
        if from_ > at:
            parts.append((at, min(from_, end)))
        at = max(at, to)
        if at >= end:
            break
    if at < end:
        parts.append((at, end))
    return [(from_, to) for from_, to in parts if to > from_]
