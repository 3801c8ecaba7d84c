"""Laying one list of instants over another: which shift and rate bring most of them together.

And how probable it is that so many come together by chance. That is asked of start lists whose
intervals were shuffled: they have as many starts as the true one, as far apart, but not in its
order. What they reach by chance calibrates a Poisson tail, which then says how rare the true
count is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

Float64 = NDArray[np.float64]
SHUFFLES = 24
SMALLEST_P = 1e-12


@dataclass(frozen=True)
class Match:
    """`instant = zero_s + media_s * (1 + rate_ppm * 1e-6)` brings `count` pairs within the
    tolerance; `own` and `theirs` are the pairs' places in the two lists."""

    zero_s: float
    rate_ppm: float
    count: int
    own: NDArray[np.int64]
    theirs: NDArray[np.int64]


def matches(
    own_s: Float64,
    theirs_s: Float64,
    *,
    within_s: float,
    rate_limit_ppm: float,
    rate_ppm: float = 0.0,
    low_s: float = -math.inf,
    high_s: float = math.inf,
    apart_s: float = 1.0,
    count: int = 2,
) -> list[Match]:
    """The best laying of `own_s` (media seconds) over `theirs_s` (instants), then the next
    best whose zero lies `apart_s` or more away. `within_s`: half the width in which a pair
    meets. Rates within `rate_limit_ppm` of `rate_ppm` are tried. `low_s`, `high_s`: where the
    middle of the own list, less its own time, may lie."""
    if len(own_s) == 0 or len(theirs_s) == 0:
        return []
    middle_s = float(np.median(own_s))
    best: dict[int, tuple[int, float, float]] = {}
    for tried_ppm in _rates_ppm(own_s, within_s, rate_ppm, rate_limit_ppm):
        lag = _lags(own_s, theirs_s, middle_s, tried_ppm, low_s, high_s)
        if len(lag) == 0:
            continue
        lag.sort()
        crowd = np.searchsorted(lag, lag + 2 * within_s, side="right") - np.arange(len(lag))
        for at in np.argsort(crowd, kind="stable")[::-1][: 20 * count]:
            cell = math.floor(float(lag[at]) / (apart_s / 2))
            if int(crowd[at]) > best.get(cell, (0, 0.0, 0.0))[0]:
                best[cell] = (int(crowd[at]), float(lag[at]), tried_ppm)
    found: list[Match] = []
    for _crowd, at_s, found_ppm in sorted(best.values(), reverse=True):
        one = _refined(own_s, theirs_s, middle_s, at_s + within_s, found_ppm, within_s)
        if all(abs(one.zero_s - other.zero_s) >= apart_s for other in found):
            found.append(one)
        if len(found) == count:
            break
    return sorted(found, key=lambda one: -one.count)


def _rates_ppm(own_s: Float64, within_s: float, middle_ppm: float, limit_ppm: float) -> list[float]:
    """So close together that between two of them no pair leaves the tolerance."""
    span_s = max(float(own_s[-1] - own_s[0]), 1.0)
    step_ppm = within_s / span_s * 1e6 * 2
    steps = math.ceil(limit_ppm / step_ppm) if limit_ppm > 0 else 0
    steps = min(steps, 200)
    if steps == 0:
        return [middle_ppm]
    return [middle_ppm + limit_ppm * k / steps for k in range(-steps, steps + 1)]


def _lags(
    own_s: Float64, theirs_s: Float64, middle_s: float, rate_ppm: float, low_s: float, high_s: float
) -> Float64:
    """All differences: clinic time of the middle of the own list, less that middle."""
    own = own_s + (own_s - middle_s) * (rate_ppm * 1e-6)
    lag = (theirs_s[:, None] - own[None, :]).ravel()
    return lag[(lag >= low_s) & (lag <= high_s)]


def _refined(
    own_s: Float64,
    theirs_s: Float64,
    middle_s: float,
    lag_s: float,
    rate_ppm: float,
    within_s: float,
) -> Match:
    """Pairs that meet, each instant once, and the line through them."""
    rate = rate_ppm * 1e-6
    for _ in range(3):
        told = own_s + (own_s - middle_s) * rate + lag_s
        own, theirs = pairs(told, theirs_s, within_s)
        if len(own) < 2:
            break
        off = theirs_s[theirs] - told[own]
        lag_s += float(np.median(off))
        reach_s = float(np.ptp(own_s[own]))
        if len(own) >= 4 and reach_s > 0:
            slope = scipy.stats.theilslopes(theirs_s[theirs] - told[own], own_s[own] - middle_s)
            if abs(slope[0]) * reach_s < 2 * within_s:
                rate += float(slope[0])
                lag_s += float(slope[1]) - float(np.median(off))
    told = own_s + (own_s - middle_s) * rate + lag_s
    own, theirs = pairs(told, theirs_s, within_s)
    return Match(lag_s - middle_s * rate, rate * 1e6, len(own), own, theirs)


def pairs(
    told_s: Float64, theirs_s: Float64, within_s: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Nearest neighbours that are each other's nearest and within the tolerance."""
    if len(told_s) == 0 or len(theirs_s) == 0:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    order = np.argsort(theirs_s)
    near = order[_nearest(theirs_s[order], told_s)]
    back_order = np.argsort(told_s)
    back = back_order[_nearest(told_s[back_order], theirs_s)]
    own = np.arange(len(told_s))
    keep = (back[near] == own) & (np.abs(theirs_s[near] - told_s) <= within_s)
    return own[keep], near[keep]


def _nearest(rising: Float64, asked: Float64) -> NDArray[np.int64]:
    right = np.clip(np.searchsorted(rising, asked), 1, max(len(rising) - 1, 1))
    if len(rising) == 1:
        return np.zeros(len(asked), dtype=np.int64)
    nearer_left = asked - rising[right - 1] < rising[right] - asked
    return right - nearer_left


# --- by chance -----------------------------------------------------------------------------


def false_match_p(
    reached: int,
    own_s: Float64,
    theirs_s: Float64,
    *,
    within_s: float,
    rate_limit_ppm: float,
    rate_ppm: float = 0.0,
    low_s: float = -math.inf,
    high_s: float = math.inf,
    seed: int = 1,
) -> float:
    """Probability that a list without any connection reaches `reached` pairs somewhere.

    From `SHUFFLES` lists with the intervals of `theirs_s` in another order, laid over `own_s`
    in the same way. With fewer than four instants there is nothing to shuffle: 1.
    """
    if reached < 2 or len(theirs_s) < 4 or len(own_s) < 2:
        return 1.0
    rng = np.random.default_rng(seed)
    counts = []
    for _ in range(SHUFFLES):
        other = shuffled(theirs_s, rng)
        found = _most(own_s, other, within_s, rate_ppm, rate_limit_ppm, low_s, high_s)
        counts.append(found)
    span_s = max(float(np.ptp(theirs_s)), float(np.ptp(own_s)), 1.0)
    if math.isfinite(low_s) and math.isfinite(high_s):
        span_s = max(min(span_s, high_s - low_s + np.ptp(theirs_s)), 1.0)
    expected = max(len(own_s) * len(theirs_s) * 2 * within_s / span_s, 1e-9)
    return _tail(reached, np.array(counts), expected)


def _most(
    own_s: Float64,
    theirs_s: Float64,
    within_s: float,
    rate_ppm: float,
    limit_ppm: float,
    low_s: float,
    high_s: float,
) -> int:
    """The largest number of differences within twice `within_s`, at any of the rates.

    Few rates bring more than those before them. Single precision, which sorts in half the time,
    tells which cannot: it is off by less than `loose_s`."""
    middle_s, centre_s = float(np.median(own_s)), float(np.median(theirs_s))
    furthest_s = 2 * float(np.ptp(own_s) + np.ptp(theirs_s))
    loose_s = 4 * furthest_s * float(np.finfo(np.float32).eps) + 1e-6 * within_s
    own_s, theirs_s = own_s - middle_s, theirs_s - centre_s
    low_s, high_s = (end_s - centre_s + middle_s for end_s in (low_s, high_s))
    most = 0
    for tried_ppm in _rates_ppm(own_s, within_s, rate_ppm, limit_ppm):
        lag = _lags(own_s, theirs_s, 0.0, tried_ppm, low_s, high_s)
        if _crowds(np.sort(lag.astype(np.float32)), most, 2 * within_s + loose_s):
            lag.sort()
            while _crowds(lag, most, 2 * within_s):
                most += 1
    return most


def _crowds(rising: NDArray[np.floating], most: int, width_s: float) -> bool:
    """Whether more than `most` lie within `width_s` somewhere."""
    first = rising[: max(len(rising) - most, 0)]
    return bool((rising[most:] <= first + width_s).any())


def shuffled(instants_s: Float64, rng: np.random.Generator) -> Float64:
    """The same intervals in another order, from the same first instant on."""
    rising = np.sort(instants_s)
    return np.concatenate([rising[:1], rising[0] + np.cumsum(rng.permutation(np.diff(rising)))])


def _tail(reached: int, by_chance: NDArray[np.int64], expected: float) -> float:
    """1 - exp(-places * P(Poisson(expected) >= reached)); `places` is what explains how far
    the shuffled lists came: the median, and more carefully their furthest."""
    places = 1.0
    for count, share in (
        (int(np.median(by_chance)), 0.5),
        (int(by_chance.max()), 1.0 / len(by_chance)),
    ):
        rare = float(scipy.stats.poisson.sf(count - 1, expected))
        places = max(places, -math.log1p(-min(share, 0.999)) / max(rare, 1e-300))
    value = places * float(scipy.stats.poisson.sf(reached - 1, expected))
    return float(min(max(-math.expm1(-value), SMALLEST_P), 1.0))


def strongest(times_s: Float64, score: Float64, counts: Sequence[int]) -> list[Float64]:
    """The times of the highest scores, for each of `counts`, rising. Fewer lists if they repeat."""
    lists, last = [], -1
    order = np.argsort(score)[::-1]
    for count in counts:
        take = min(count, len(order))
        if take > last:
            lists.append(np.sort(times_s[order[:take]]))
            last = take
    return lists
