"""Which span of a recording a clip takes: wide enough for a wrong pace, no wider than filmed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from clinics.compute.geometry import Pass, passes

PACE_U = 0.15  # expected paces are guesses: right within this share
QUICK_START_S = 2.5  # a dive and the glide after it are this much quicker than the pace, at most
SPARE_S = 1.0  # on both sides, so that nothing begins or ends abruptly
START_BEFORE_S, START_AFTER_S = 3.0, 8.0  # around a start: the call before it, the breakout
LEAST_S = 0.5  # less of the swimmer in picture is no clip


@dataclass(frozen=True)
class Window:
    """What is cut (`in_s` to `out_s`) and when the swimmer is expected in picture (`seen_from_s`
    to `seen_to_s`), in swim_s. `by` is "station" if the plan gives the window, else "pace"."""

    pass_no: int
    in_s: float
    out_s: float
    seen_from_s: float
    seen_to_s: float
    by: str


def windows_for(
    *,
    kind: str,
    x_m: float,
    given: Iterable[Mapping[str, Any]],
    course_m: float,
    distance_m: float,
    pace_s_per_100m: float,
    u_s: float = 0.0,
) -> list[Window]:
    """One window for each pass of a swim at a station.

    `given` are the station's own: pass, from_s, to_s. `u_s` widens windows from the pace by
    how unsure start and clock are (standard uncertainty, in s; twice that is added).
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
            found.append(_from_pace(expected[pass_no], 2 * u_s))
    return found


def _given(expected: Pass | None, pass_no: int, from_s: float, to_s: float) -> Window:
    """The plan's window stands as it is; within it the expected span, if they meet."""
    seen_from_s, seen_to_s = from_s, to_s
    if expected is not None and expected.from_s < to_s and expected.to_s > from_s:
        seen_from_s, seen_to_s = max(from_s, expected.from_s), min(to_s, expected.to_s)
    return Window(pass_no, float(from_s), float(to_s), seen_from_s, seen_to_s, "station")


def _from_pace(one: Pass, unsure_s: float) -> Window:
    if one.what == "start":
        in_s, out_s = -START_BEFORE_S, max(START_AFTER_S, one.to_s)
    elif one.from_s < 0:  # along, with the start in picture
        in_s, out_s = -START_BEFORE_S, one.to_s * (1 + PACE_U) + SPARE_S
    else:
        in_s = one.from_s * (1 - PACE_U) - QUICK_START_S - SPARE_S
        in_s = max(in_s, -START_BEFORE_S)
        out_s = one.to_s * (1 + PACE_U) + SPARE_S
    return Window(one.pass_no, in_s - unsure_s, out_s + unsure_s, one.from_s, one.to_s, "pace")


def clip_to(window: Window, from_s: float, to_s: float) -> Window | None:
    """The window as far as a recording has it (`from_s` to `to_s`, swim_s); None if too little
    of the swimmer is in it: half a second, or half of the expected span if that is shorter."""
    least_s = min(LEAST_S, (window.seen_to_s - window.seen_from_s) / 2)
    seen_from_s, seen_to_s = max(window.seen_from_s, from_s), min(window.seen_to_s, to_s)
    if seen_to_s - seen_from_s < least_s:
        return None
    in_s, out_s = max(window.in_s, from_s), min(window.out_s, to_s)
    return Window(window.pass_no, in_s, out_s, seen_from_s, seen_to_s, window.by)
