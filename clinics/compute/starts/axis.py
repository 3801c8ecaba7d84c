"""One common axis of time for all recordings of a clinic, from where the signal arrives in each.

One recording, whose arrivals fit the start log best, gives the axis. The others are laid over
its arrivals, which stand for the starts to a millisecond where taps scatter by tenths of a
second: even a file with five starts fits at one place only.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from clinics.compute.starts.arrivals import Arrivals
from clinics.compute.starts.hearing import Ear
from clinics.compute.starts.matching import pairs
from clinics.compute.starts.places import (
    CERTAIN_P,
    FIRM,
    LIKELY_P,
    TAP_WITHIN_S,
    WITHIN_S,
    Axis,
    Place,
    Rate,
    Sibling,
    among_starts,
    by_family,
    by_log,
    by_taps,
    camera_rate,
    emitted_in,
    roughly_placed,
    starts_expected,
)

Float64 = NDArray[np.float64]
WEAK = 0.6  # of the usual score of starts: weaker arrivals are not built on
MANY = 0.6  # of the most starts that a recording holds


def lay_out(
    ears: Sequence[Ear], taps_s: Float64, siblings: dict[str, Sibling], learned_from: str = ""
) -> Axis:
    """Place as many recordings as the arrivals in them allow."""
    axis = Axis()
    emitted = {ear.key: emitted_in(ear) for ear in ears}
    for ear in ears:
        axis.by_taps[ear.key] = by_taps(ear, emitted[ear.key], taps_s)
    by_key = {ear.key: ear for ear in ears}
    heard = [ear for ear in ears if len(ear.arrivals)]
    if not heard:
        return axis
    if len(taps_s) >= 4:
        own = axis.by_taps.get(learned_from)
        if own is not None and own.p < LIKELY_P:
            chance = by_key[learned_from].chance_of_hunch(taps_s.tolist())
            axis.by_taps[learned_from] = Place(
                own.zero_s, own.rate_ppm, own.count, max(own.p, chance), own.second
            )
        best = _anchor(axis, heard)
        place = axis.by_taps[best.key]
        axis.logged = place.p < LIKELY_P and place.second is None
        if not axis.logged and place.p < LIKELY_P and place.second is not None:
            other = Place(place.second[0], place.rate_ppm, place.second[1], place.p)
            axis.ambiguous[best.key] = (place, other)
    if not axis.logged:
        best = max(heard, key=lambda ear: float(np.sort(ear.arrivals.score)[-20:].mean()))
        place = Place(0.0, 0.0, len(best.arrivals), 1.0)
    axis.anchor, axis.anchor_p = best.key, place.p
    axis.places[best.key] = Place(place.zero_s, 0.0, place.count, place.p)
    _take_starts_of_anchor(axis, best, emitted[best.key], taps_s)
    _place_others(axis, heard, taps_s, siblings, roughly=False)
    _settle(axis, taps_s, siblings, by_key)
    return axis


def lay_out_again(
    axis: Axis, ears: Sequence[Ear], taps_s: Float64, siblings: dict[str, Sibling]
) -> None:
    """Once the starts on the axis are timed to a fraction of a millisecond: whatever is not
    beyond doubt, or runs at another rate than its camera, is laid over them anew, closely."""
    axis.is_timed = True
    axis.ambiguous.clear()
    rates = {one.camera: camera_rate(axis, siblings, one.camera) for one in siblings.values()}
    for key, place in list(axis.places.items()):
        rate = rates[siblings[key].camera]
        bent = abs(place.rate_ppm - rate.ppm) > rate.limit_ppm
        if not is_firm(axis, key) and (bent or place.p > CERTAIN_P):
            del axis.places[key]
    _place_others(axis, ears, taps_s, siblings, roughly=True)
    _settle(axis, taps_s, siblings, {ear.key: ear for ear in ears})


def is_firm(axis: Axis, key: str) -> bool:
    """Beyond doubt, and with enough starts to time the axis by."""
    place = axis.places[key]
    return key == axis.anchor or (place.is_fine and place.p < CERTAIN_P and place.count >= FIRM)


def _place_others(
    axis: Axis,
    ears: Sequence[Ear],
    taps_s: Float64,
    siblings: dict[str, Sibling],
    *,
    roughly: bool,
) -> None:
    """Those that the start log places first; then, where that says nothing, by the room that a
    camera's other recordings leave; at last by the start log alone."""
    by_key = {ear.key: ear for ear in ears}
    waiting = [ear for ear in ears if ear.key not in axis.places and len(ear.arrivals)]
    waiting.sort(key=lambda ear: axis.by_taps[ear.key].p)
    rounds = [(by_log, False), (by_family, False), (by_family, roughly)]
    for limits, alone in rounds:
        again = True
        while again and waiting:
            again = False
            for ear in list(waiting):
                low_s, high_s = limits(axis, ear, siblings, by_key)
                if _place(
                    axis, ear, emitted_in(ear), taps_s, siblings, low_s, high_s, roughly=alone
                ):
                    waiting.remove(ear)
                    again = True


def _settle(
    axis: Axis, taps_s: Float64, siblings: dict[str, Sibling], by_key: dict[str, Ear]
) -> None:
    _drop_overlapping(axis, siblings, by_key)
    if axis.logged:
        axis.logged_n = _nearest_to_taps(axis.starts_s, taps_s)


def _nearest_to_taps(starts_s: Float64, taps_s: Float64) -> NDArray[np.int64]:
    """Of the starts on the axis those that the taps mean, by how late taps are as a whole."""
    near, taps = pairs(starts_s, taps_s, TAP_WITHIN_S)
    late_s = float(np.median(taps_s[taps] - starts_s[near])) if len(near) else 0.0
    near, _taps = pairs(starts_s, taps_s - late_s, TAP_WITHIN_S)
    return near


def _anchor(axis: Axis, heard: list[Ear]) -> Ear:
    """Of the recordings that the start log places beyond doubt the nearest to the starter that
    holds many of the starts, since it hears them cleanest; else the least doubtful."""
    certain = [ear for ear in heard if axis.by_taps[ear.key].p < CERTAIN_P]
    most = max((axis.by_taps[ear.key].count for ear in certain), default=0)
    good = [ear for ear in certain if axis.by_taps[ear.key].count >= MANY * most]
    if good:
        return min(good, key=lambda ear: ear.travel_s)
    return min(heard, key=lambda ear: (axis.by_taps[ear.key].p, -axis.by_taps[ear.key].count))


def _take_starts_of_anchor(axis: Axis, ear: Ear, emitted: Arrivals, taps_s: Float64) -> None:
    """The anchor's arrivals that are as alike as those at the taps, whether tapped or not."""
    told = axis.places[ear.key].told(emitted.media_s)
    if axis.logged:
        own, _theirs = pairs(told, taps_s, TAP_WITHIN_S)
        usual = float(np.median(emitted.score[own])) if len(own) else 0.0
        most = 4 * max(starts_expected(ear, taps_s), 8)
    else:
        usual, most = float(np.sort(emitted.score)[-8:].mean()), 60
    axis.usual_score[ear.key] = usual
    strong = emitted.score >= WEAK * usual
    kept = Arrivals(told[strong], emitted.score[strong]).best(most)
    axis.starts_s = np.sort(kept.media_s)


def _place(
    axis: Axis,
    ear: Ear,
    emitted: Arrivals,
    taps_s: Float64,
    siblings: dict[str, Sibling],
    low_s: float,
    high_s: float,
    *,
    roughly: bool,
) -> bool:
    """Lay a recording over the starts on the axis; True if it has one place there. `roughly`:
    or by the start log alone."""
    if len(axis.starts_s) < 3 or high_s < low_s:
        return False
    rate = camera_rate(axis, siblings, siblings[ear.key].camera) if axis.is_timed else Rate()
    best = among_starts(axis, ear, emitted, low_s, high_s, rate)
    if (best is None or best.p > LIKELY_P or best.count < 3) and axis.logged and roughly:
        best = roughly_placed(ear, emitted, taps_s, low_s, high_s)
    if best is None or best.p > LIKELY_P:
        return False
    if best.second is not None:
        other = Place(best.second[0], best.rate_ppm, best.second[1], best.p)
        axis.ambiguous[ear.key] = (best, other)
        return False
    axis.ambiguous.pop(ear.key, None)
    axis.places[ear.key] = best
    if best.is_fine:
        _add_starts(axis, ear, emitted, best)
    return True


def _add_starts(axis: Axis, ear: Ear, emitted: Arrivals, place: Place) -> None:
    """What this recording hears besides, as alike as what it shares with the others."""
    told = place.told(emitted.media_s)
    own, _theirs = pairs(told, axis.starts_s, WITHIN_S)
    if len(own) == 0:
        return
    usual = float(np.median(emitted.score[own]))
    axis.usual_score[ear.key] = usual
    new = emitted.score >= max(WEAK, 0.8) * usual
    new[own] = False
    far = np.abs(told[:, None] - axis.starts_s[None, :]).min(axis=1) > 0.2
    axis.starts_s = np.sort(np.concatenate([axis.starts_s, told[new & far]]))


def _drop_overlapping(axis: Axis, siblings: dict[str, Sibling], ears: dict[str, Ear]) -> None:
    """A camera makes one recording at a time, in order: the less sure of two that clash goes."""
    keys = sorted(axis.places, key=lambda key: axis.places[key].p)
    kept: list[str] = []
    for key in keys:
        if any(_clash(axis, key, other, siblings, ears) for other in kept):
            del axis.places[key]
        else:
            kept.append(key)


def _clash(
    axis: Axis, one: str, other: str, siblings: dict[str, Sibling], ears: dict[str, Ear]
) -> bool:
    if siblings[one].camera != siblings[other].camera:
        return False
    first, second = sorted((one, other), key=lambda key: siblings[key].order)
    end_s = axis.places[first].zero_s + ears[first].duration_s
    return axis.places[second].zero_s < end_s - 2.0
