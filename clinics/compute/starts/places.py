"""Where one recording lies on the axis: by the start log, by the starts that others hear, by the
room that its camera's other recordings leave. And how probable each place is by chance."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from clinics.compute.starts.arrivals import Arrivals
from clinics.compute.starts.hearing import Ear
from clinics.compute.starts.matching import Match, false_match_p, matches, strongest

Float64 = NDArray[np.float64]
TAP_WITHIN_S = 0.3  # half the width in which a tap meets its start
WITHIN_S = 0.006  # half the width in which two recordings' arrivals are one start
TAP_RATE_PPM, PAIR_RATE_PPM = 150.0, 220.0
LIKELY_P = 1e-3  # of a place that is taken to build on
TAPS_PLACE_S = 1.0  # how well taps alone place a recording
CLEAR = 0.6  # of the score of the best few: what is nearly as alike
CERTAIN_P = 1e-9
CLOSE_S = 0.0015  # half the width in which timed arrivals are one start
FIRM = 8  # starts that must meet for a recording to time the axis
CAMERA_RATE_PPM = 25.0  # about the rate of another recording of the same camera
AMBIGUOUS = 0.7  # a second place with that share of the pairs is a second possibility
DATE_WITHIN_S = 3.0  # file dates of one camera against each other
STRETCH_P = 1e-5  # ten factors are tried, and a person is asked


@dataclass(frozen=True)
class Place:
    """Where a recording lies: axis time = zero_s + seconds * (1 + rate_ppm * 1e-6).

    `count` of its arrivals meet starts on the axis; `p`: how probable that is by chance;
    `second`: another place that fits about as well, and how many meet there. `is_fine` False:
    right to some tenths of a second only, by the start log alone.
    """

    zero_s: float
    rate_ppm: float
    count: int
    p: float
    second: tuple[float, int] | None = None
    is_fine: bool = True

    def told(self, seconds: Float64) -> Float64:
        """Axis time of seconds in the recording."""
        return self.zero_s + seconds * (1 + self.rate_ppm * 1e-6)


@dataclass
class Axis:
    """`places` of recordings by key; `by_taps`: what the start log alone said of each.

    `starts_s`: axis times of arrivals taken for starts (sound travel taken off); `logged_n`: the
    numbers of those that are nearest to a tap. The axis is the taps' clock if `logged`, else that
    of the recording that gave it.
    """

    anchor: str = ""
    anchor_p: float = 1.0
    logged: bool = False
    places: dict[str, Place] = field(default_factory=dict)
    by_taps: dict[str, Place] = field(default_factory=dict)
    ambiguous: dict[str, tuple[Place, Place]] = field(default_factory=dict)
    starts_s: Float64 = field(default_factory=lambda: np.empty(0))
    logged_n: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    usual_score: dict[str, float] = field(default_factory=dict)
    is_timed: bool = False


@dataclass(frozen=True)
class Sibling:
    """What a camera's recordings know of each other: order and file dates."""

    camera: str
    order: int
    began_s: float | None


def emitted_in(ear: Ear) -> Arrivals:
    """When the signal left the starter, by this recording's own clock."""
    return Arrivals(ear.arrivals.media_s - ear.travel_s, ear.arrivals.score)


def starts_expected(ear: Ear, taps_s: Float64) -> int:
    """How many starts of the log this recording would hold if it lay among them."""
    if len(taps_s) < 2:
        return 12
    span_s = max(float(np.ptp(taps_s)), 1.0)
    return max(round(len(taps_s) * min(1.0, ear.duration_s / span_s)), 4)


def _lists(arrivals: Arrivals, expected: int) -> list[Float64]:
    """The likeliest starts among arrivals, in lists of growing length: first those that are
    nearly as alike as the best few, then so many as are expected, and more."""
    if len(arrivals) == 0:
        return []
    top = float(np.sort(arrivals.score)[-3:].mean())
    clear = int((arrivals.score >= CLEAR * top).sum())
    counts = sorted({max(clear, 3), expected, 2 * expected, 4 * expected})
    return strongest(arrivals.media_s, arrivals.score, counts)


def by_taps(
    ear: Ear,
    emitted: Arrivals,
    taps_s: Float64,
    low_s: float = -math.inf,
    high_s: float = math.inf,
) -> Place:
    """The place by the start log alone, right to a tenth of a second or so."""
    best = Place(0.0, 0.0, 0, 1.0)
    lists = _lists(emitted, starts_expected(ear, taps_s))
    for times_s in lists:
        found = matches(
            times_s,
            taps_s,
            within_s=TAP_WITHIN_S,
            rate_limit_ppm=TAP_RATE_PPM,
            apart_s=3.0,
            low_s=low_s,
            high_s=high_s,
        )
        if not found:
            continue
        p = len(lists) * false_match_p(
            found[0].count,
            times_s,
            taps_s,
            within_s=TAP_WITHIN_S,
            rate_limit_ppm=TAP_RATE_PPM,
            low_s=low_s,
            high_s=high_s,
        )
        if p < best.p or best.count == 0:
            best = _placed(found, min(p, 1.0))
    return best


def _placed(found: list[Match], p: float) -> Place:
    first = found[0]
    second = None
    if len(found) > 1 and found[1].count >= max(AMBIGUOUS * first.count, 3):
        second = (found[1].zero_s, found[1].count)
    return Place(first.zero_s, first.rate_ppm, first.count, p, second)


def by_log(
    axis: Axis, ear: Ear, siblings: dict[str, Sibling], ears: dict[str, Ear]
) -> tuple[float, float]:
    """The start log says where, or nothing does."""
    place = axis.by_taps[ear.key]
    if axis.logged and place.p < LIKELY_P and place.second is None:
        return place.zero_s - TAPS_PLACE_S, place.zero_s + TAPS_PLACE_S
    return -math.inf, math.inf


def by_family(
    axis: Axis, ear: Ear, siblings: dict[str, Sibling], ears: dict[str, Ear]
) -> tuple[float, float]:
    """Where the camera's other recordings leave room; near their dates if files have them."""
    own = siblings[ear.key]
    low_s, high_s = -math.inf, math.inf
    dates = []
    for key, place in axis.places.items():
        other = siblings[key]
        if other.camera != own.camera or key == ear.key:
            continue
        if other.order < own.order:
            low_s = max(low_s, place.zero_s + ears[key].duration_s - 0.5)
        else:
            high_s = min(high_s, place.zero_s - ear.duration_s + 0.5)
        if own.began_s is not None and other.began_s is not None:
            dates.append(place.zero_s + own.began_s - other.began_s)
    if dates:
        told = float(np.median(dates))
        if low_s <= told + DATE_WITHIN_S and high_s >= told - DATE_WITHIN_S:
            return max(low_s, told - DATE_WITHIN_S), min(high_s, told + DATE_WITHIN_S)
    return low_s, high_s


@dataclass(frozen=True)
class Rate:
    """Rates that are tried: `ppm` and up to `limit_ppm` more or less."""

    ppm: float = 0.0
    limit_ppm: float = PAIR_RATE_PPM


def camera_rate(axis: Axis, siblings: dict[str, Sibling], camera: str) -> Rate:
    """The camera's own, if its recordings show it: they share a clock. Three of them, or one that
    holds many starts; a few starts in one file are bent by an echo."""
    places = [
        place
        for key, place in axis.places.items()
        if siblings[key].camera == camera and place.is_fine and place.p < LIKELY_P
    ]
    long = [place for place in places if place.count >= FIRM]
    if long:
        return Rate(max(long, key=lambda place: place.count).rate_ppm, CAMERA_RATE_PPM)
    if len(places) >= 3:
        return Rate(float(np.median([place.rate_ppm for place in places])), CAMERA_RATE_PPM)
    return Rate()


def among_starts(
    axis: Axis, ear: Ear, emitted: Arrivals, low_s: float, high_s: float, rate: Rate
) -> Place | None:
    """Where most arrivals meet starts on the axis; closely if the axis is timed well, else to
    some milliseconds. Every list and tolerance that was tried counts in the evidence."""
    best: Place | None = None
    lists = _lists(emitted, max(starts_expected(ear, axis.starts_s), 6))
    ladder = (CLOSE_S, WITHIN_S) if axis.is_timed else (WITHIN_S,)
    for within_s in ladder:
        for times_s in lists:
            found = matches(
                times_s,
                axis.starts_s,
                within_s=within_s,
                rate_ppm=rate.ppm,
                rate_limit_ppm=rate.limit_ppm,
                low_s=low_s,
                high_s=high_s,
            )
            if not found:
                continue
            p = false_match_p(
                found[0].count,
                times_s,
                axis.starts_s,
                within_s=within_s,
                rate_ppm=rate.ppm,
                rate_limit_ppm=rate.limit_ppm,
                low_s=low_s,
                high_s=high_s,
            )
            p *= len(lists) * len(ladder)
            if best is None or p < best.p:
                best = _placed(found, min(p, 1.0))
            if best.p < CERTAIN_P:
                return best
    return best


def roughly_placed(
    ear: Ear, emitted: Arrivals, taps_s: Float64, low_s: float, high_s: float
) -> Place | None:
    """By the start log alone, to some tenths of a second."""
    rough = by_taps(ear, emitted, taps_s, low_s, high_s)
    if rough.p > LIKELY_P or rough.second is not None:
        return None
    return Place(rough.zero_s, 0.0, rough.count, rough.p, is_fine=False)


def fits(axis: Axis, ear: Ear, arrivals: Arrivals) -> bool:
    """Whether these arrivals (of this recording, as if stretched) lie on the axis."""
    emitted = Arrivals(arrivals.media_s - ear.travel_s, arrivals.score)
    for times_s in strongest(emitted.media_s, emitted.score, [10, 20, 40]):
        found = matches(times_s, axis.starts_s, within_s=WITHIN_S, rate_limit_ppm=PAIR_RATE_PPM)
        if found and found[0].count >= 4:
            p = false_match_p(
                found[0].count,
                times_s,
                axis.starts_s,
                within_s=WITHIN_S,
                rate_limit_ppm=PAIR_RATE_PPM,
            )
            if p < STRETCH_P:
                return True
    return False
