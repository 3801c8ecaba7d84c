"""Timing a placed recording's arrivals anew, all together.

Far from the starter the hall's echoes are as loud as the signal: a held tone is then most alike
some way behind its beginning, by the same way at every start. What one start does not show, all
together do: laid over each other where the axis says they are, noise fades, and the first
moments, which only the direct sound can reach, stand clear. From there on each start is timed
again, near where it must be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.compute.starts.arrivals import Arrivals, beginning, best_fit, fits_at
from clinics.compute.starts.axis import is_firm
from clinics.compute.starts.hearing import Ear
from clinics.compute.starts.learn import Learned
from clinics.compute.starts.places import Axis, Place
from clinics.compute.starts.whiten import Float32, whiten, whitener

Float64 = NDArray[np.float64]
EARLIER_S, LATER_S = 0.45, 0.30  # how far off the common place may be
DIRECT_S = 0.016  # of the signal's beginning, while the walls hardly answer yet
REACH_S = 0.011  # of the fine search; of it TILT_S at both ends for a better rate
TILT_S, TILT_STEP_S = 0.004, 0.0001
CYCLES_S = 0.008  # about that: where the beginning is looked for
CYCLE = 0.45  # of a cycle: so far a single start may lie from all together
# How much less a cycle must fit to be out of question; from simulated halls.
DOUBT, DOUBT_PER_MISFIT, DOUBT_BELOW = 0.0008, 0.03, 12
LEAST_BLUR_S = 0.00001
UNTIMED_S = 0.015  # so far a start that nobody timed yet may lie from where the axis has it
HEARD_WELL, ECHO_S = 0.8, 0.25  # of the usual score; how late an echo may be taken for a start
LEAST_STACKED = 2
WELL = 0.6  # of the best recording's usual fit: so well a recording hears the signal
STRONG = 0.6  # of the usual fit of the recording's starts


@dataclass(frozen=True)
class Retimed:
    """`arrivals` replace the ear's; `starts` are their numbers on the axis. `blur_s`: standard
    uncertainty that all of them share."""

    arrivals: Arrivals
    starts: NDArray[np.int64]
    place: Place
    blur_s: float


def retime_all(
    ears: Sequence[Ear], learned: Learned, axis: Axis, *, only_firm: bool = False
) -> dict[str, float]:
    """Time the arrivals in all placed recordings anew: those that are placed beyond doubt, then
    short files, which lie only as well as those say; the nearest to the starter first.

    By the starts of the log, if a recording has enough of them: what sounds the same in another
    lane comes from another place. What the first ones say of a start's instant then stands for
    the others. Ears and axis are changed; how far each recording's arrivals may be off together
    comes back (standard uncertainty, s). `only_firm`: only in recordings that are placed beyond
    doubt.
    """
    blur_s = {}
    known = np.zeros(len(axis.starts_s), dtype=bool)
    order = sorted(nearest_first(ears, axis), key=lambda ear: not is_firm(axis, ear.key))
    for ear in order:
        if only_firm and not is_firm(axis, ear.key):
            continue
        for leading in (axis.logged_n, np.arange(len(axis.starts_s))):
            again = _retime(ear, learned, axis, leading, known)
            if again is None:
                continue
            ear.arrivals = again.arrivals
            axis.places[ear.key] = again.place
            axis.usual_score[ear.key] = float(np.median(again.arrivals.score))
            blur_s[ear.key] = again.blur_s
            new = ~known[again.starts]
            told = again.place.told(again.arrivals.media_s - ear.travel_s)
            axis.starts_s[again.starts[new]] = told[new]
            known[again.starts] = True
            break
    return blur_s


def nearest_first(ears: Sequence[Ear], axis: Axis) -> list[Ear]:
    """The placed recordings by how far they are from the starter: the nearer, the cleaner. One
    that hears the signal badly although it is near (behind a window, under water) comes last."""
    placed = [ear for ear in ears if ear.key in axis.places and axis.places[ear.key].is_fine]
    usual = {ear.key: axis.usual_score.get(ear.key, 0.0) for ear in placed}
    best = max(usual.values(), default=0.0)
    return sorted(
        placed, key=lambda ear: (usual[ear.key] < WELL * best, ear.travel_s, -usual[ear.key])
    )


def _retime(
    ear: Ear,
    learned: Learned,
    axis: Axis,
    leading: NDArray[np.int64],
    known: NDArray[np.bool_],
) -> Retimed | None:
    """All starts of the axis in this recording, timed by those that lead; None if fewer than
    LEAST_STACKED of them are heard in it.

    Once the axis is timed, a place is right to some milliseconds and is not looked for further
    off: a few starts in a short file could be led astray by one echo.
    """
    place, rate_hz = axis.places[ear.key], ear.rate_hz
    sound = ear.sound()
    taps = whitener(sound, rate_hz)
    track = whiten(sound, taps)
    attack, onset = learned.attack(taps)
    template = attack.astype(np.float64)
    at_s = (axis.starts_s - place.zero_s) / (1 + place.rate_ppm * 1e-6) + ear.travel_s
    at_s = np.where(known, at_s, _as_heard(ear, axis.usual_score.get(ear.key, 0.0), at_s))
    margin_s = EARLIER_S + 0.5
    number = np.flatnonzero((at_s > margin_s) & (at_s < len(track) / rate_hz - margin_s))
    number = number[_strong(track, template, onset, at_s[number], rate_hz)]
    leads = np.isin(number, leading)
    if leads.sum() < LEAST_STACKED:
        return None
    if (leads & known[number]).sum() >= LEAST_STACKED:
        leads &= known[number]
    told_s = at_s[number]
    if not axis.is_timed:
        told_s = told_s + _coarse_shift_s(track, template, onset, told_s[leads], rate_hz)
    told_s = _fine_line(track, template, onset, told_s[leads], rate_hz).added(told_s)
    begin_s, blur_s = _beginning_s(track, template, onset, told_s[leads], rate_hz)
    within_s = np.where(known[number], CYCLE / learned.hz, UNTIMED_S)
    again_s, score = _each(track, template, onset, told_s + begin_s, rate_hz, within_s)
    good = score >= STRONG * float(np.median(score[leads]))
    firm = good & leads
    fitted = _line(again_s[firm] - ear.travel_s, axis.starts_s[number[firm]], place)
    return Retimed(Arrivals(again_s[good], score[good]), number[good], fitted, blur_s)


def _as_heard(ear: Ear, usual: float, at_s: Float64) -> Float64:
    """Where this recording itself hears what nobody timed yet: the axis may have it from one that
    heard an echo. Where it hears nothing near, as the axis has it."""
    own_s = ear.arrivals.media_s[ear.arrivals.score >= HEARD_WELL * usual]
    if len(own_s) == 0 or len(at_s) == 0:
        return at_s
    near = own_s[np.argmin(np.abs(own_s[None, :] - at_s[:, None]), axis=1)]
    return np.where(np.abs(near - at_s) <= ECHO_S, near, at_s)


def _strong(
    track: Float32, template: Float64, onset: int, at_s: Float64, rate_hz: int
) -> NDArray[np.bool_]:
    """Those at which the signal is heard at all, within EARLIER_S before and LATER_S after."""
    fit = np.array(
        [
            abs(best_fit(_cut(track, at, onset, len(template), rate_hz, 0.03, 0.03), template)[1])
            for at in at_s
        ]
    )
    if len(fit) == 0:
        return np.zeros(0, dtype=bool)
    return np.asarray(fit >= STRONG * float(np.median(np.sort(fit)[len(fit) // 2 :])))


def _cut(
    track: Float32, at_s: float, onset: int, length: int, rate_hz: int, before_s: float,
    after_s: float,
) -> Float64:  # fmt: skip
    low = round((at_s - before_s) * rate_hz) - onset
    high = round((at_s + after_s) * rate_hz) - onset + length
    return track[low:high].astype(np.float64)


def _coarse_shift_s(
    track: Float32, template: Float64, onset: int, at_s: Float64, rate_hz: int
) -> float:
    """Where all starts together begin, against where they were said to: seconds, positive later.

    Right within a few cycles of the signal.
    """
    stack, origin = _stack(track, template, onset, at_s, rate_hz)
    lag, fit = fits_at(stack, template)
    return (beginning(lag, fit, rate_hz) - origin) / rate_hz


@dataclass(frozen=True)
class _Line:
    """What is to be added to times `t`: shift_s + tilt * (t - middle_s)."""

    shift_s: float
    tilt: float
    middle_s: float

    def added(self, at_s: Float64) -> Float64:
        return at_s + self.shift_s + self.tilt * (at_s - self.middle_s)


def _fine_line(track: Float32, template: Float64, onset: int, at_s: Float64, rate_hz: int) -> _Line:
    """The shift and tilt that bring all starts to the same cycle of the signal.

    Each start's fit over the lag is laid over the others' with every tilt, and they are summed:
    a cycle that one start mistakes for the next is outvoted.
    """
    direct = template[: onset + round(DIRECT_S * rate_hz)]
    curves = []
    for at in at_s:
        piece = _shifted(
            track, (at - REACH_S) * rate_hz - onset, len(direct) + 2 * round(REACH_S * rate_hz)
        )
        lag, fit = fits_at(piece, direct)
        curves.append(fit)
    fits = np.array(curves)
    step_s = float(lag[1] - lag[0]) / rate_hz
    middle_s = float((at_s[0] + at_s[-1]) / 2)
    half_s = max(float(at_s[-1] - at_s[0]) / 2, 1.0)
    inner = round(TILT_S / step_s)
    best = np.full(fits.shape[1] - 2 * inner, -1.0)
    tilts = np.zeros(len(best))
    signs = np.sign(fits[np.arange(len(fits)), np.argmax(np.abs(fits), axis=1)])
    signed = fits * (1.0 if signs.sum() >= 0 else -1.0)
    for tilt_s in np.arange(-TILT_S, TILT_S + TILT_STEP_S / 2, TILT_STEP_S):
        moved = np.rint(tilt_s * (at_s - middle_s) / half_s / step_s).astype(int)
        total = np.zeros(len(best))
        for row, by in zip(signed, moved, strict=True):
            total += row[inner + by : inner + by + len(best)]
        better = total / len(signed) > best
        best[better] = total[better] / len(signed)
        tilts[better] = tilt_s / half_s
    top = int(np.argmax(best))
    off_s = np.asarray(np.arange(len(best)) + inner, dtype=np.float64) * step_s - REACH_S
    return _Line(float(off_s[top]), float(tilts[top]), middle_s)


def _beginning_s(
    track: Float32, template: Float64, onset: int, at_s: Float64, rate_hz: int
) -> tuple[float, float]:
    """Where starts that lie cycle upon cycle begin, against `at_s`; its standard uncertainty.

    Of all together the noise is gone, so that the quiet before the first moment counts: of one
    start alone a later cycle fits as well, since it is louder by the echo.
    """
    stack, origin = _stack(track, template, onset, at_s, rate_hz)
    direct = template[: onset + round(DIRECT_S * rate_hz)]
    lag, fit = fits_at(stack, direct)
    near = np.abs(lag - origin) <= CYCLES_S * rate_hz
    off_s, fit = (lag[near] - origin) / rate_hz, np.abs(fit[near])
    top = int(np.argmax(fit))
    return float(off_s[top]), _blur_s(fit, off_s, top, len(at_s))


def _blur_s(best: Float64, off_s: Float64, top: int, count: int) -> float:
    """How far the beginning may lie from where it fits best: other cycles fit nearly as well.

    Each peak counts by how little less it fits, against how far the best is from perfect, and
    of few starts (`count`) more than of many.
    """
    height = float(best[top])
    scale = (DOUBT + DOUBT_PER_MISFIT * (1 - height)) * max(1.0, DOUBT_BELOW / count)
    inner = np.flatnonzero((best[1:-1] >= best[:-2]) & (best[1:-1] > best[2:])) + 1
    weight = np.exp(-(height - best[inner]) / scale)
    spread = float(np.sum(weight * (off_s[inner] - off_s[top]) ** 2) / max(weight.sum(), 1e-9))
    return float(np.sqrt(spread + LEAST_BLUR_S**2))


def _stack(
    track: Float32, template: Float64, onset: int, at_s: Float64, rate_hz: int
) -> tuple[Float64, float]:
    """All starts over each other, and the lag at which the template lies as they were timed."""
    before, after = round(EARLIER_S * rate_hz), round(LATER_S * rate_hz)
    length = before + after + len(template)
    total = np.zeros(length)
    for at in at_s:
        begin = at * rate_hz - onset - before
        piece = _shifted(track, begin, length)
        there = piece[before : before + len(template)]
        sign = 1.0 if float(there @ template) >= 0 else -1.0
        total += sign * piece / max(float(np.linalg.norm(piece)), 1e-12)
    return total / len(at_s), float(before)


def _shifted(track: Float32, begin: float, length: int) -> Float64:
    """`length` samples from a place between samples on, by a phase shift."""
    pad = 32
    whole = int(np.floor(begin))
    piece = track[whole - pad : whole + length + pad].astype(np.float64)
    turn = np.exp(2j * np.pi * np.fft.rfftfreq(len(piece)) * (begin - whole))
    return np.asarray(np.fft.irfft(np.fft.rfft(piece) * turn, len(piece))[pad : pad + length])


def _each(
    track: Float32,
    template: Float64,
    onset: int,
    at_s: Float64,
    rate_hz: int,
    within_s: Float64,
) -> tuple[Float64, Float64]:
    """Each start timed near where it must be; seconds and fit."""
    times, scores = [], []
    for at, within in zip(at_s, within_s, strict=True):
        reach = int(np.ceil(within * rate_hz))
        begin = at * rate_hz - onset - reach
        lag, value = best_fit(_shifted(track, begin, len(template) + 2 * reach), template)
        times.append((begin + onset + lag) / rate_hz)
        scores.append(abs(value))
    return np.array(times), np.array(scores)


def _line(own_s: Float64, theirs_s: Float64, place: Place) -> Place:
    """The place by the arrivals as they are timed now (Theil and Sen's slope, median offset)."""
    off = theirs_s - own_s
    if len(own_s) < 3 or np.ptp(own_s) < 10:
        zero_s = float(np.median(theirs_s - own_s * (1 + place.rate_ppm * 1e-6)))
        return Place(zero_s, place.rate_ppm, place.count, place.p, place.second)
    slope = scipy.stats.theilslopes(off, own_s)
    return Place(float(slope[1]), float(slope[0]) * 1e6, place.count, place.p, place.second)
