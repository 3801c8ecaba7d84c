"""Where a silent view lies in clinic time: what was seen passing against who was to pass when.

A comb with tolerance: each expected passing is a tooth as wide as it is uncertain, each thing
seen may be somebody unknown, each expected one may be missing. The evidence is a likelihood
ratio against passings that have nothing to do with the start log (a Poisson background), and
how often start logs with the same intervals in another order do as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import NDArray

Float64 = NDArray[np.float64]
Expected = tuple[str, float, float]

STEP_S = 0.25
DETECTED = 0.8  # how often an expected passing is seen
LEAST_WIDTH_S = 0.4
SHUFFLES = 200
CHANCE_AT_MOST = 1e-3
LEAST_MATCHED = 5
RIVAL_SHARE, RIVAL_LEAST = 0.25, 5.0
"""Another place whose log likelihood ratio is this near counts as fitting about as well."""
SHOWN_EACH = 1.0  # log likelihood ratio for each passing expected while it ran
PRIOR_FLOOR = 12.0  # a file date that is wrong by hours must not forbid the truth


@dataclass(frozen=True)
class Passing:
    """A silent recording's place: clinic time = zero_s + media_s.

    `u_s`: standard uncertainty, seconds. `pairs`: (swim, expected clinic second, media second at
    which it was seen), `matched` of the `of` passings expected while the recording ran.
    `false_match_p`: how probable it is that a start log of other order fits as well. `rivals`:
    other places that fit about as well; if there is one, nothing is decided, and
    `false_match_p` may be of any size.
    """

    zero_s: float
    u_s: float
    matched: int
    of: int
    false_match_p: float
    pairs: tuple[tuple[str, float, float], ...]
    rivals: tuple[Passing, ...] = ()


def place_by_passing(
    seen: Sequence[float],
    expected: Sequence[Expected],
    *,
    duration_s: float | None = None,
    prior: tuple[float, float] | None = None,
    seed: int = 0,
) -> Passing | None:
    """The place at which what was seen fits the start log, or None if none stands out.

    `seen`: media seconds at which something passed the middle of the view. `expected`: swim,
    clinic seconds of its passing there by its pace, standard uncertainty in seconds; several per
    swim where it passes both ways. `duration_s` of the recording: expected passings outside it
    say nothing (without it, from the first seen to the last). `prior`: the file date's place of
    media zero and its standard uncertainty, only if it is to be used.

    Paces that are all wrong alike shift the place and cannot be told from it: the median
    uncertainty of the expected passings stays in `u_s`.
    """
    seen_s = np.sort(np.asarray(seen, dtype=np.float64))
    if len(seen_s) < LEAST_MATCHED or len(expected) < LEAST_MATCHED:
        return None
    comb = _Comb(seen_s, duration_s, [u_s for _, _, u_s in expected], prior)
    keys = [key for key, _, _ in expected]
    at_s = np.array([at for _, at, _ in expected])
    zeros_s, height = comb.heights(at_s)
    places = _places(zeros_s, height, comb.widths_s)
    best_s, best = places[0]
    chance = _chance(best, comb, keys, at_s, np.random.default_rng(seed))
    close = max(RIVAL_SHARE * abs(best), RIVAL_LEAST)
    passings = [
        _passing(comb, keys, at_s, zero_s, chance) for zero_s, at in places if best - at < close
    ]
    first, *others = [one for one in passings if one.matched >= LEAST_MATCHED] or [passings[0]]
    if first is not passings[0] or first.matched < LEAST_MATCHED:
        return None
    # Starts at even intervals fit in any order, and one interval later nearly as well: the places
    # are worth showing. Where few fit and any order does as well, there is nothing to show.
    well = bool(others) and best >= SHOWN_EACH * first.of
    return replace(first, rivals=tuple(others)) if chance <= CHANCE_AT_MOST or well else None


class _Comb:
    """How well each place of media zero fits, for any expected passings of given widths."""

    def __init__(
        self,
        seen_s: Float64,
        duration_s: float | None,
        u_s: Sequence[float],
        prior: tuple[float, float] | None,
    ) -> None:
        self.seen_s = seen_s
        begins_s, ends_s = 0.0, duration_s if duration_s is not None else float(seen_s[-1])
        self.duration_s = max(ends_s, float(seen_s[-1])) - begins_s
        self.widths_s = np.maximum(np.asarray(u_s, dtype=np.float64), LEAST_WIDTH_S)
        self.prior = prior
        # Widths to the next of a few classes: one row of likelihoods for each.
        classes = np.round(np.log2(self.widths_s / LEAST_WIDTH_S) * 2).astype(int)
        self.row_of = np.unique(classes, return_inverse=True)[1]
        self.rows = [self._row(LEAST_WIDTH_S * 2 ** (each / 2)) for each in np.unique(classes)]

    def _row(self, width_s: float) -> Float64:
        """Log likelihood ratio of a passing expected at each media step, this well known."""
        steps = int(np.ceil(self.duration_s / STEP_S)) + 1
        counts = np.bincount((self.seen_s / STEP_S).round().astype(int), minlength=steps)
        density = scipy.ndimage.gaussian_filter1d(
            counts.astype(np.float64), width_s / STEP_S, mode="constant"
        )
        background = len(self.seen_s) / steps
        return np.log(1 - DETECTED + DETECTED * density / background)

    def heights(self, at_s: Float64) -> tuple[Float64, Float64]:
        """Places of media zero, and the log likelihood ratio of each."""
        steps = len(self.rows[0])
        first = int(np.floor(at_s.min() / STEP_S)) - steps
        height = np.zeros(int(np.ceil(at_s.max() / STEP_S)) + 1 - first + 1)
        for place, row in zip((at_s / STEP_S).round().astype(int), self.row_of, strict=True):
            # zero = expected - media: media step k of this row stands for zero step place - k.
            end = place - first + 1
            height[end - steps : end] += self.rows[row][::-1]
        zeros_s = STEP_S * np.arange(first, first + len(height), dtype=np.float64)
        if self.prior is not None:
            off = (zeros_s - self.prior[0]) / self.prior[1]
            height = height - np.minimum(off**2 / 2, PRIOR_FLOOR)
        return zeros_s, height


def _places(zeros_s: Float64, height: Float64, widths_s: Float64) -> list[tuple[float, float]]:
    """The best place and the next best ones, each apart from the others by more than the width."""
    apart = round(4 * float(np.median(widths_s)) / STEP_S) + 2
    left = height.copy()
    places = []
    for _ in range(3):
        best = int(np.argmax(left))
        if not np.isfinite(left[best]):
            break
        places.append((float(zeros_s[best]), float(left[best])))
        left[max(0, best - apart) : best + apart + 1] = -np.inf
    return places


def _chance(
    best: float, comb: _Comb, keys: Sequence[str], at_s: Float64, rng: np.random.Generator
) -> float:
    """How often a start log with the same intervals in another order fits as well.

    The best of each shuffled log is a largest of many, so a Gumbel law (E. J. Gumbel, Statistics
    of Extremes, 1958) is laid through them by their mean and spread, to tell chances below one in
    the number of shuffles.
    """
    groups = _by_swim(keys, at_s)
    begins = np.array([at_s[group].min() for group in groups])
    order = np.argsort(begins)
    gaps = np.diff(begins[order])
    heights = np.empty(SHUFFLES)
    for number in range(SHUFFLES):
        moved = at_s.copy()
        swims = rng.permutation(len(groups))  # who goes when is another order, too
        fresh = begins[order[0]] + np.concatenate([[0.0], np.cumsum(rng.permutation(gaps))])
        for begin, which in zip(fresh, swims, strict=True):
            moved[groups[which]] += begin - begins[which]
        heights[number] = comb.heights(moved)[1].max()
    scale = max(float(np.std(heights)) * np.sqrt(6) / np.pi, 1e-6)
    mode = float(np.mean(heights)) - 0.5772156649 * scale
    fitted = -np.expm1(-np.exp(-(best - mode) / scale))
    counted = float((heights >= best).mean())
    return float(min(max(fitted, counted), 1.0))


def _by_swim(keys: Sequence[str], at_s: Float64) -> list[NDArray[np.int64]]:
    by_key: dict[str, list[int]] = {}
    for index, key in enumerate(keys):
        by_key.setdefault(key, []).append(index)
    return [np.asarray(rows, dtype=np.int64) for rows in by_key.values()]


def _passing(
    comb: _Comb, keys: Sequence[str], at_s: Float64, zero_s: float, chance: float
) -> Passing:
    """Pairs at a place, nearest first, each seen and each expected one once; the place refined."""
    media_s = at_s - zero_s
    expected = np.flatnonzero((media_s >= 0) & (media_s <= comb.duration_s))
    off = media_s[expected, None] - comb.seen_s[None, :]
    widths = np.abs(off) / comb.widths_s[expected, None]
    pairs: dict[int, int] = {}
    taken: set[int] = set()
    for flat in np.argsort(widths, axis=None):
        which, what = np.unravel_index(int(flat), widths.shape)
        if widths[which, what] > 3:
            break
        if int(which) not in pairs and int(what) not in taken:
            pairs[int(which)] = int(what)
            taken.add(int(what))
    shifts = np.array([off[which, what] for which, what in pairs.items()])
    if len(shifts) == 0:
        return Passing(zero_s, float(np.median(comb.widths_s)), 0, len(expected), chance, ())
    weights = 1 / comb.widths_s[expected[list(pairs)]] ** 2
    better = float(np.average(shifts, weights=weights))
    scatter = float(np.sqrt(np.average((shifts - better) ** 2, weights=weights)))
    common = float(np.median(comb.widths_s[expected[list(pairs)]]))
    return Passing(
        zero_s=zero_s + better,
        u_s=float(np.hypot(common, scatter / np.sqrt(len(shifts)))),
        matched=len(pairs),
        of=len(expected),
        false_match_p=chance,
        pairs=tuple(
            (keys[expected[which]], float(at_s[expected[which]]), float(comb.seen_s[what]))
            for which, what in sorted(pairs.items())
        ),
    )
