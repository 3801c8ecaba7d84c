"""From pictures of a slate to one tie per showing.

A single picture tells clinic time to one period of the code. Better tell the changes: the code
that begins at T was not yet there in one picture and is there in another, so T lies between the
two. Over two seconds there are some twelve changes at different parts of a frame, and the offset
that suits all of them is known to a few ms. It is found on a grid, each change as a smooth step
(the display shows a code up to half a refresh early or late), so that a wrong one costs little.

What does not shrink with more pictures stays in `u_ms`: the phone's clock (it says within what),
the display (about one refresh between drawing and light, not the same on every phone), and the
camera's exposure and rows, which lie anywhere within half a frame of the picture's time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.compute.slate import PERIOD_MS, SlateCode
from clinics.compute.slate_tones import EVERY_S

REFRESH_MS = 1000 / 60
CHANGE_U_MS = REFRESH_MS / math.sqrt(12)
"""A code is drawn in the refresh nearest to its instant: half of one early or late."""
DISPLAY_U_MS = REFRESH_MS / math.sqrt(3)
"""From drawing to light: as expected, or one refresh sooner or later."""
STRAY_SHARE = 0.01
GRID_MS, GRID_STEP_MS = 200.0, 0.25
APART_S = 2.5
"""Pictures further apart than this belong to two showings."""
LEAST_CODES = 2
AGREE_SHARE = 0.75
RATE_SHARE = 0.2
TRAVEL_MS, TRAVEL_U_MS = 3.0, 2.0
"""Sound from a phone held a hand's breadth to two metres away."""
ANCHOR_U_S = 0.15
"""Seconds repeat: a tone's second is told only by what is known better than that."""
RATE_LIMIT = 150e-6
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Reading:
    """One picture in which a code was read; `media_s` of its PTS."""

    frame: int
    media_s: float
    code: SlateCode


@dataclass(frozen=True)
class SeenTie:
    """One showing: at the time of picture `frame`, the clinic's clock was `instant_ms`.

    `zero_ms` is the same for media_s = 0. `score`: the share of readings that fit, 0 to 1.
    `tone_u_ms`: of the tone played with it, the phone's clock included, None without.
    """

    frame: int
    instant_ms: float
    zero_ms: float
    u_ms: float
    score: float
    codes: int
    from_s: float
    to_s: float
    tone_u_ms: float | None


@dataclass(frozen=True)
class Refused:
    """A showing that gives no tie. `why`: few, still, rate (then `factor` says how many media
    seconds pass in one of the slate's), disagree."""

    why: str
    at_s: float
    factor: float = 1.0


@dataclass(frozen=True)
class HeardTie:
    """Tones of one showing: one of them began at `media_s`, and the clock was `instant_ms`."""

    media_s: float
    instant_ms: float
    u_ms: float
    score: float
    tones: int


@dataclass(frozen=True)
class Anchor:
    """What tells which second a tone belongs to: clinic ms at a media time, within `u_ms`."""

    media_s: float
    instant_ms: float
    u_ms: float
    tone_u_ms: float


def showings(readings: Sequence[Reading], slow_motion: float = 1.0) -> list[list[Reading]]:
    """Readings in order of their pictures, apart where the slate was out of sight."""
    groups: list[list[Reading]] = []
    for reading in sorted(readings, key=lambda one: one.frame):
        apart_s = APART_S * slow_motion
        if groups and reading.media_s - groups[-1][-1].media_s <= apart_s:
            groups[-1].append(reading)
        else:
            groups.append([reading])
    return groups


def seen_tie(
    readings: Sequence[Reading],
    media_s_of: Callable[[int], float],
    *,
    slow_motion: float,
) -> SeenTie | Refused:
    """One tie from the pictures of one showing, or why there is none.

    `slow_motion`: how many media seconds the camera made of one second. `media_s_of` gives the
    time of any picture of the recording.
    """
    told = sorted(readings, key=lambda one: one.frame)
    at_ms = np.array([1000 * one.media_s / slow_motion for one in told])
    code_ms = np.array([one.code.instant_ms for one in told], dtype=np.float64)
    begin_s = told[0].media_s
    if len(np.unique(code_ms)) < LEAST_CODES:
        still = len(told) > 1 and at_ms[-1] - at_ms[0] > 2 * PERIOD_MS
        return Refused("still" if still else "few", begin_s)
    factor = _factor(at_ms, code_ms) * slow_motion
    if abs(factor / slow_motion - 1) > RATE_SHARE and at_ms[-1] - at_ms[0] > 4 * PERIOD_MS:
        return Refused("rate", begin_s, factor)
    zero_ms = code_ms + PERIOD_MS / 2 - at_ms
    middle_ms = float(np.median(zero_ms))
    fits = np.abs(zero_ms - middle_ms) <= PERIOD_MS / 2 + 3 * REFRESH_MS + _frame_ms(at_ms)
    if np.mean(fits) < AGREE_SHARE or len(np.unique(code_ms[fits])) < LEAST_CODES:
        return Refused("disagree", begin_s)
    good = [one for one, fit in zip(told, fits, strict=True) if fit]
    zero, scatter_ms = _zero(at_ms[fits], code_ms[fits], middle_ms)
    frame = good[len(good) // 2].frame
    frame_ms = 1000 * (media_s_of(frame + 1) - media_s_of(frame)) / slow_motion
    phone_ms = max(one.code.u_ms for one in good) / math.sqrt(3)
    u_ms = math.hypot(scatter_ms, phone_ms, DISPLAY_U_MS, frame_ms / math.sqrt(12))
    return SeenTie(
        frame=frame,
        instant_ms=zero + 1000 * media_s_of(frame) / slow_motion,
        zero_ms=zero,
        u_ms=u_ms,
        score=float(np.mean(fits)),
        codes=len(np.unique(code_ms[fits])),
        from_s=begin_s,
        to_s=told[-1].media_s,
        tone_u_ms=_tone_u_ms(good, phone_ms),
    )


def _tone_u_ms(good: Sequence[Reading], phone_ms: float) -> float | None:
    within = [one.code.tone_u_ms for one in good if one.code.tone_u_ms is not None]
    if len(within) < len(good):
        return None
    return math.hypot(max(within) / math.sqrt(3), phone_ms)


def _factor(at_ms: Floats, code_ms: Floats) -> float:
    """How many ms of the recording pass in one of the slate: the median over pairs of pictures
    (theil-sen) that are far enough apart for the codes' steps not to matter."""
    later, sooner = np.triu_indices(len(at_ms), k=1)[::-1]
    apart_ms = at_ms[later] - at_ms[sooner]
    far = apart_ms >= 0.6 * (at_ms[-1] - at_ms[0])
    rate = float(np.median((code_ms[later] - code_ms[sooner])[far] / apart_ms[far]))
    return 1 / rate if rate > 0 else math.inf


def _frame_ms(at_ms: Floats) -> float:
    return float(np.min(np.diff(at_ms))) if len(at_ms) > 1 else 0.0


def _zero(at_ms: Floats, code_ms: Floats, middle_ms: float) -> tuple[float, float]:
    """Clinic ms at the recording's zero, and its standard uncertainty from the changes alone."""
    grid = middle_ms + np.arange(-GRID_MS, GRID_MS + GRID_STEP_MS, GRID_STEP_MS)
    log_likely = np.zeros(len(grid))
    for change_ms, last_ms, first_ms in _changes(at_ms, code_ms):
        not_later = scipy.special.ndtr((grid + first_ms - change_ms) / CHANGE_U_MS)
        not_sooner = scipy.special.ndtr((grid + last_ms - change_ms) / CHANGE_U_MS)
        log_likely += np.log((1 - STRAY_SHARE) * (not_later - not_sooner) + STRAY_SHARE)
    likely = np.exp(log_likely - log_likely.max())
    likely /= likely.sum()
    zero = float(np.sum(likely * grid))
    return zero, float(np.sqrt(np.sum(likely * (grid - zero) ** 2)))


def _changes(at_ms: Floats, code_ms: Floats) -> Iterator[tuple[float, float, float]]:
    """(instant, last picture before, first picture after) of each change, without bounds where
    the neighbouring code was not seen."""
    first = {float(code): float(at_ms[code_ms == code][0]) for code in np.unique(code_ms)}
    last = {float(code): float(at_ms[code_ms == code][-1]) for code in np.unique(code_ms)}
    for change in sorted({*first, *(code + PERIOD_MS for code in last)}):
        before = last.get(change - PERIOD_MS, -math.inf)
        after = first.get(change, math.inf)
        if before < after:
            yield change, before, after


# --- tones -------------------------------------------------------------------------------------


def heard_ties(
    tones: Sequence[tuple[float, float]], anchors: Sequence[Anchor], *, slow_motion: float = 1.0
) -> list[HeardTie]:
    """One tie per group of tones whose second an anchor tells; the others say nothing.

    A tone begins at a whole second of server time, and arrives a little later through the air.
    """
    ties = []
    for group in _groups(tones):
        at_s = np.array([media_s for media_s, _ in group])
        anchor = _nearest(anchors, float(np.median(at_s)))
        if anchor is None or slow_motion != 1.0:
            continue
        expected_ms = anchor.instant_ms + 1000 * (at_s - anchor.media_s) - TRAVEL_MS
        second_ms = np.round(expected_ms / (1000 * EVERY_S)) * 1000 * EVERY_S
        off_ms = expected_ms - second_ms
        in_step = np.abs(off_ms - np.median(off_ms)) <= 5.0
        near = abs(float(np.median(off_ms))) <= 3 * math.hypot(anchor.u_ms, anchor.tone_u_ms)
        if not near or 2 * np.count_nonzero(in_step) <= len(group):
            continue
        one = int(np.flatnonzero(in_step)[np.count_nonzero(in_step) // 2])
        late_ms = float(np.median(off_ms[in_step]) - off_ms[one])
        spread_ms = float(np.std(off_ms[in_step]))
        ties.append(
            HeardTie(
                media_s=float(at_s[one]) + late_ms / 1000,
                instant_ms=float(second_ms[one]) + TRAVEL_MS,
                u_ms=math.hypot(anchor.tone_u_ms, TRAVEL_U_MS, spread_ms),
                score=float(np.median([score for _, score in group])),
                tones=int(np.count_nonzero(in_step)),
            )
        )
    return ties


def _groups(tones: Sequence[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    groups: list[list[tuple[float, float]]] = []
    for tone in sorted(tones):
        if groups and tone[0] - groups[-1][-1][0] <= APART_S:
            groups[-1].append(tone)
        else:
            groups.append([tone])
    return groups


def _nearest(anchors: Sequence[Anchor], media_s: float) -> Anchor | None:
    """The anchor that tells best at that time, if it tells well enough which second it is."""

    def u_s(anchor: Anchor) -> float:
        return anchor.u_ms / 1000 + RATE_LIMIT * abs(anchor.media_s - media_s)

    best = min(anchors, key=u_s, default=None)
    return best if best is not None and u_s(best) <= ANCHOR_U_S else None
