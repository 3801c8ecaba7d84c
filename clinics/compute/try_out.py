"""What a try-out says of one camera: findings from what was measured in its file.

A finding is data for a page to say in words: what was looked at, whether somebody should look at
it or it will not do, and its numbers. All instants are seconds since 1970 on the server's clock;
media seconds run from the file's first picture.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from statistics import median
from typing import Any

from clinics.compute.try_out_picture import Focus, Focused, Light, Lit, Steady
from clinics.compute.try_out_sound import Heard, HeardTwice

LEAST_PICTURES_PER_S = 45.0  # one of 50 or 60 is within 20 ms, one of 25 or 30 within 40
LEAST_HEIGHT = 700
TAP_U_S = 0.3  # a tap follows the signal by 0.1 to 0.4 s: common practice, no source
DATE_U_S = 2.0  # whole seconds, and when a camera writes it
DATE_WRONG_S = 5.0  # more than that is a clock to be set
APART_S = 0.05  # two cameras' gaps between the same starts; their clocks differ by far less


class Check(StrEnum):
    PICTURE = "picture"
    FOCUS = "focus"
    LIGHT = "light"
    STEADY = "steady"
    START = "start"
    CLOCK = "clock"


class State(StrEnum):
    OK = "ok"
    LOOK = "look"
    BAD = "bad"


@dataclass(frozen=True)
class Finding:
    """`what` tells findings of one check apart; the words are the page's."""

    check: Check
    state: State
    what: str
    numbers: Mapping[str, float | str]

    def to_json(self) -> dict[str, Any]:
        return {
            "check": self.check.value,
            "state": self.state.value,
            "what": self.what,
            "numbers": dict(self.numbers),
        }


@dataclass(frozen=True)
class Filmed:
    """The file's picture as it is shown: `pictures_per_s` counts fields of interlaced film."""

    width: int
    height: int
    codec: str
    pictures_per_s: float
    interlaced: bool
    duration_s: float


@dataclass(frozen=True)
class Slate:
    """What the slate in the picture says: server time at media zero, within `u_s`."""

    zero_s: float
    u_s: float


@dataclass(frozen=True)
class Measured:
    """`taps_s`: the two starts as tapped, None while nobody tapped both. `heard`: None without a
    sound track, or without taps. `date_s`: media zero by the file's own date, None without."""

    filmed: Filmed
    focus: Focused
    light: Lit
    steady: Steady
    has_sound: bool
    heard: HeardTwice | None
    taps_s: tuple[float, float] | None
    slate: Slate | None
    date_s: float | None


def judge(seen: Measured, *, hears_start: bool, fixed_mount: bool) -> list[Finding]:
    """In the order of Check. `hears_start`, `fixed_mount`: as the station is planned."""
    found = [_picture(seen.filmed), _focus(seen.focus), _light(seen.light)]
    if fixed_mount:
        found.append(_steady(seen.steady))
    return [*found, _start(seen, hears_start), _clock(seen)]


def _finding(check: Check, state: State, what: str, **numbers: float | str) -> Finding:
    return Finding(check, state, what, numbers)


def _picture(filmed: Filmed) -> Finding:
    numbers: dict[str, float | str] = {
        "width": filmed.width,
        "height": filmed.height,
        "codec": filmed.codec,
        "rate": round(filmed.pictures_per_s, 2),
        "duration_s": round(filmed.duration_s, 1),
        "interlaced": float(filmed.interlaced),
    }
    what = "fine"
    if filmed.pictures_per_s < LEAST_PICTURES_PER_S:
        what = "slow"
    elif filmed.height < LEAST_HEIGHT:
        what = "small"
    state = State.OK if what == "fine" else State.LOOK
    return _finding(Check.PICTURE, state, what, **numbers)


def _focus(focused: Focused) -> Finding:
    state = {Focus.SHARP: State.OK, Focus.BLURRED: State.BAD}.get(focused.focus, State.LOOK)
    if focused.blur_px is None:
        return _finding(Check.FOCUS, state, focused.focus.value)
    blur_px, where = round(focused.blur_px, 1), focused.where
    return _finding(Check.FOCUS, state, focused.focus.value, blur_px=blur_px, where=where)


def _light(lit: Lit) -> Finding:
    state = State.OK if lit.light is Light.FINE else State.LOOK
    numbers = {"middle": round(lit.middle), "white": round(100 * lit.white)}
    return _finding(Check.LIGHT, state, lit.light.value, **numbers)


def _steady(steady: Steady) -> Finding:
    state = State.OK if steady is Steady.STILL else State.LOOK
    return _finding(Check.STEADY, state, steady.value)


# --- starts and clock ---------------------------------------------------------------------------


def _start(seen: Measured, hears_start: bool) -> Finding:
    if seen.heard is not None and seen.heard.state in (Heard.SURE, Heard.LOOK):
        return _heard(seen, hears_start)
    if not hears_start:
        return _finding(Check.START, State.OK, "not-planned")
    if not seen.has_sound:
        return _finding(Check.START, State.BAD, "no-sound")
    if seen.heard is None:
        return _finding(Check.START, State.LOOK, "no-taps")
    return _finding(Check.START, State.BAD, seen.heard.state.value)


def _heard(seen: Measured, hears_start: bool) -> Finding:
    heard = seen.heard
    assert heard is not None and heard.first_s is not None and heard.gap_s is not None
    assert seen.taps_s is not None  # it is listened for only with taps
    numbers = {
        "first_s": round(heard.first_s, 3),
        "gap_s": round(heard.gap_s, 4),
        "tapped_s": round(seen.taps_s[1] - seen.taps_s[0], 3),
        "alike": round(heard.alike, 2),
    }
    if heard.state is Heard.SURE:
        what = "heard" if hears_start else "heard-unplanned"
        return _finding(Check.START, State.OK, what, **numbers)
    return _finding(Check.START, State.LOOK, "heard-look", **numbers)


def _clock(seen: Measured) -> Finding:
    if seen.slate is not None:
        off = _date_off(seen, seen.slate.zero_s)
        numbers = {"u_ms": round(1000 * seen.slate.u_s, 1)}
        return _finding(Check.CLOCK, State.OK, "slate", **numbers, **off)
    if seen.heard is not None and seen.heard.first_s is not None and seen.taps_s is not None:
        off = _date_off(seen, seen.taps_s[0] - seen.heard.first_s)
        sure = seen.heard.state is Heard.SURE
        state, what = (State.OK, "starts") if sure else (State.LOOK, "starts-look")
        return _finding(Check.CLOCK, state, what, u_s=TAP_U_S, **off)
    if seen.date_s is None:
        return _finding(Check.CLOCK, State.BAD, "none")
    if seen.taps_s is None:
        return _finding(Check.CLOCK, State.LOOK, "date-alone", u_s=DATE_U_S)
    begin_s, end_s = seen.date_s - DATE_U_S, seen.date_s + seen.filmed.duration_s + DATE_U_S
    if all(begin_s <= tap <= end_s for tap in seen.taps_s):
        return _finding(Check.CLOCK, State.LOOK, "date-alone", u_s=DATE_U_S)
    nearest_s = min(seen.taps_s, key=lambda tap: abs(tap - seen.date_s))  # type: ignore[operator]
    off_s = round(seen.date_s - nearest_s)
    return _finding(Check.CLOCK, State.BAD, "date-elsewhere", off_s=off_s)


def _date_off(seen: Measured, zero_s: float) -> dict[str, float]:
    """How far the camera's own clock is ahead, if that matters."""
    if seen.date_s is None or abs(seen.date_s - zero_s) < DATE_WRONG_S:
        return {}
    return {"date_off_s": round(seen.date_s - zero_s)}


def gaps_that_differ(gaps_s: Mapping[str, float]) -> list[str]:
    """Of cameras that heard both starts, by key: those whose gap between them differs from the
    others' by more than two clocks could; of two that differ, both.

    >>> gaps_that_differ({"start": 24.3101, "deck": 24.3104, "turn": 24.9})
    ['turn']
    """
    if len(gaps_s) < 2:
        return []
    usual_s = median(gaps_s.values())
    return [key for key, gap_s in gaps_s.items() if abs(gap_s - usual_s) > APART_S]
