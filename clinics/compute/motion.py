"""Swimmers passing a view, from how much moves at each key frame: when in picture, and where.

Coarse by nature: a swimmer is known to be in picture between two key frames, 0.5 s apart or 10.
Said only where it is clear; a camera that is moved, or a picture in which always somebody swims,
gives nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.compute.passing import Passing as Passing
from clinics.compute.passing import place_by_passing as place_by_passing

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Bools = NDArray[np.bool_]

WHOLE = 0.98  # clinics.media.motion marks a picture that is another one altogether with 1
BASE_S = 120.0  # what moves all the time is taken from this long around
TIMES_SPREAD = 5.0
LEAST_ENERGY = 0.012  # share of a stripe: about as much as a head and an arm in a wide view
WIDE_SHARE = 0.7  # of the stripes moving at once: more than a swimmer
MOVING_CAMERA_SHARE = 0.15  # of all pictures
LONGEST_S = 40.0
LEAST_KEY_FRAMES = 8
CLEAR_RIVAL = 0.35  # what moved less than this beside it does not make it unclear
LENGTHS = (0.3, 3.0)  # of the expected span


@dataclass(frozen=True)
class Seen:
    """Something passed: in picture from `from_s` to `to_s`, each known to ± `u_s` (half the
    distance of the key frames there, a hard limit rather than a standard deviation).

    `strength`: the most that moved at once, in stripes of the picture; `x_share`: where, from
    0 (left) to 1, weighted over the passing.
    """

    from_s: float
    to_s: float
    u_s: float
    strength: float
    x_share: float

    @property
    def middle_s(self) -> float:
        return (self.from_s + self.to_s) / 2


def key_frame_step_s(profile_s: Float64) -> float:
    """How far the key frames lie apart: nothing is known better than to half of it."""
    return float(np.median(np.diff(profile_s))) if len(profile_s) > 1 else float("inf")


def passes_seen(profile_s: Float64, energy: Float32) -> list[Seen]:
    """What passed, in order. Empty if nothing is clear.

    `profile_s`: float64 [k], media seconds of the key frames; `energy`: float32 [k, columns], how
    much of each upright stripe changed since the key frame before (clinics/media/motion.py).
    """
    if len(profile_s) < LEAST_KEY_FRAMES:
        return []
    is_whole = np.all(energy >= WHOLE, axis=1)
    excess = _excess(profile_s, energy, is_whole)
    active = excess > 0
    is_wide = is_whole | (active.mean(axis=1) > WIDE_SHARE)
    if is_wide[1:].mean() > MOVING_CAMERA_SHARE:
        return []
    found = []
    for first, last in _runs(active.any(axis=1) & ~is_wide):
        touches_wide = is_wide[max(first - 1, 0) : last + 2].any()
        seen = _seen(profile_s, excess, first, last)
        if not touches_wide and seen.to_s - seen.from_s <= LONGEST_S:
            found.append(seen)
    return found


def _excess(profile_s: Float64, energy: Float32, is_whole: Bools) -> Float32:
    """What moves beyond what always does there and beyond its usual spread; else 0."""
    kept = np.where(is_whole[:, None], np.nan, energy)
    usual = np.nanmedian(kept, axis=0) if not is_whole.all() else np.ones(energy.shape[1])
    filled = np.where(is_whole[:, None], usual, energy).astype(np.float32)
    size = min(max(3, round(BASE_S / key_frame_step_s(profile_s))), len(profile_s)) | 1
    base = scipy.ndimage.median_filter(filled, size=(size, 1), mode="nearest")
    spread = 1.4826 * np.median(np.abs(filled - base), axis=0)
    rise = filled - base
    limit = np.maximum(TIMES_SPREAD * spread, LEAST_ENERGY)
    rise[rise <= limit] = 0
    rise[0] = 0  # nothing was before it
    rise[is_whole] = 0
    return np.asarray(rise, dtype=np.float32)


def _runs(active: Bools) -> list[tuple[int, int]]:
    """First and last index of each run; a single quiet picture in between does not end it."""
    joined = active.copy()
    joined[1:-1] |= active[:-2] & active[2:]
    steps = np.flatnonzero(np.diff(np.concatenate([[False], joined, [False]]).astype(int)))
    return [(int(begin), int(end) - 1) for begin, end in steps.reshape(-1, 2)]


def _seen(profile_s: Float64, excess: Float32, first: int, last: int) -> Seen:
    """The change shown at `first` came about since the key frame before; what came last had
    gone at `last`, or was still there before it."""
    came = (profile_s[max(first - 1, 0)], profile_s[first])
    went = (profile_s[max(last - 1, first - 1, 0)], profile_s[last])
    rows = excess[first : last + 1]
    places = (np.arange(rows.shape[1]) + 0.5) / rows.shape[1]
    return Seen(
        from_s=float(np.mean(came)),
        to_s=float(np.mean(went)),
        u_s=float(max(came[1] - came[0], went[1] - went[0]) / 2),
        strength=float(rows.sum(axis=1).max()),
        x_share=float((rows.sum(axis=0) * places).sum() / rows.sum()),
    )


def window_from_motion(
    seen: Sequence[Seen],
    expected_from_s: float,
    expected_to_s: float,
    within_from_s: float,
    within_to_s: float,
) -> tuple[float, float] | None:
    """When the swimmer is in picture, in media seconds, made wider by what is not known.

    `expected`: the span by pace; `within`: how far off it may be. None unless it is clear: one
    thing alone passed within, touching the expected span, wholly inside, about as long as
    expected, and the key frames are close enough to be of use.
    """
    near = [one for one in seen if one.to_s > within_from_s and one.from_s < within_to_s]
    if not near:
        return None
    best = max(near, key=lambda one: one.strength)
    if any(one is not best and one.strength > CLEAR_RIVAL * best.strength for one in near):
        return None
    from_s, to_s = best.from_s - best.u_s, best.to_s + best.u_s
    length_s = expected_to_s - expected_from_s
    fits = LENGTHS[0] * length_s <= to_s - from_s <= LENGTHS[1] * length_s
    inside = from_s >= within_from_s and to_s <= within_to_s
    touches = to_s > expected_from_s and from_s < expected_to_s
    is_fine = 2 * best.u_s <= length_s / 2
    return (from_s, to_s) if fits and inside and touches and is_fine else None
