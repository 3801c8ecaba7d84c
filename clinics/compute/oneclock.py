"""All recordings of a clinic on one clock, by what they hear and by all ties.

    soundtracks -> the start log's intervals in them -> the signal, learned once for the clinic
    -> its arrivals in each soundtrack -> one axis of time -> ties of starts -> the joint fit

Every step is pure. What people placed goes into the joint fit as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from clinics.compute import clockfit
from clinics.compute.clockfit import ClinicFit, RecordingIn, SwimIn, TieIn
from clinics.compute.starts import axis as axes
from clinics.compute.starts.arrivals import Arrivals
from clinics.compute.starts.hearing import Ear
from clinics.compute.starts.learn import Learned
from clinics.compute.starts.matching import pairs
from clinics.compute.starts.places import Axis, Sibling, fits
from clinics.compute.starts.refine import nearest_first, retime_all
from clinics.compute.starts.swims import Heard, SoundTie, sound_ties

Float64 = NDArray[np.float64]
TRIES = 3  # signals that are learned and tried before it is given up
STRETCHES = (2.0, 2.5, 3.0, 4.0, 4.8, 5.0, 8.0, 10.0)  # slow motion as cameras make it
STANDS_OUT = 1.5  # times the next best place of the comb
CERTAIN_P = 1e-6
ABOUT_S = 0.03  # so far from each other's times a recording's starts are still the same
NEARLY = 0.8  # as many starts that meet as before: the cleaner signal is preferred
ENOUGH = 4  # snippets to learn the signal from again
UNTIMED_BLUR_S = 0.004  # that a recording's arrivals share if they are too few to be timed together


class AlignStopped(Exception):
    """Somebody asked to stop."""


@dataclass(frozen=True)
class Soundtrack:
    """Mono samples [n] at `rate_hz`, sample k at media_s = k / rate_hz. `travel_s`: of sound
    from the starter to this recording's station."""

    key: str
    samples: NDArray[np.int16] | NDArray[np.float32]
    rate_hz: int
    travel_s: float


@dataclass(frozen=True)
class Signal:
    """The start signal as it was learned: strongest pitch, length, from which recording, how
    many of how many snippets agreed, how alike they are (0 to 1)."""

    hz: float
    length_s: float
    learned_from: str
    agreeing: int
    of: int
    alike: float


@dataclass(frozen=True)
class OneClock:
    """`fit` of all recordings; `found_ties` that the sound gave; the `signal` if one was
    learned; `heard`: signals that no swim explains, rising; `logged`: whether the start log was
    found in the sound; `blur_s`: per recording the uncertainty that its arrivals share."""

    fit: ClinicFit
    found_ties: list[TieIn] = field(default_factory=list)
    signal: Signal | None = None
    heard: list[Heard] = field(default_factory=list)
    logged: bool = False
    blur_s: dict[str, float] = field(default_factory=dict)
    again: Callable[[Sequence[TieIn]], ClinicFit] = field(default=lambda ties: _refuse())


def _refuse() -> ClinicFit:
    raise ValueError("nothing was fitted, so nothing can be fitted again")


def place_all(
    recordings: Sequence[RecordingIn],
    swims: Sequence[SwimIn],
    ties: Sequence[TieIn],
    soundtracks: Sequence[Soundtrack],
    *,
    on_progress: Callable[[float], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> OneClock:
    """Fit all recordings from their soundtracks and from `ties` (clinic seconds throughout).

    Raises AlignStopped when `should_stop` says so between two steps.
    """
    step = _Steps(on_progress, should_stop, total=4 * len(soundtracks) + 2)
    known = {recording.key: recording for recording in recordings}
    ears = [
        Ear(one.key, one.samples, one.rate_hz, one.travel_s, known[one.key].slow_motion)
        for one in soundtracks
        if one.key in known and len(one.samples) > one.rate_hz
    ]
    siblings = {r.key: Sibling(r.camera, r.order, r.began_s) for r in recordings}
    taps_s = np.sort(np.array([swim.tap_s for swim in swims]))
    listened = _listen(ears, taps_s, siblings, step)
    found: list[SoundTie] = []
    blur_s: dict[str, float] = {}
    heard: list[Heard] = []
    if listened is not None:
        blur_s = _settle(ears, listened, taps_s, siblings)
        found, heard = sound_ties(listened.axis, ears, swims)
    evidence = _evidence(recordings, ears, listened, blur_s)
    virtual = [SwimIn(one.key, one.tap_s, one.tap_u_s) for one in heard]
    found_ties = [_tie_in(tie, known) for tie in found]

    def fitted(by_hand: Sequence[TieIn]) -> ClinicFit:
        """Of all, with these ties beside those that the sound gave."""
        return clockfit.fit_clinic(
            recordings, [*swims, *virtual], [*by_hand, *found_ties], evidence=evidence
        )

    fit = fitted(ties)
    heard = [
        replace(one, instant_s=fit.swims[one.key].start_s, u_s=fit.swims[one.key].u_s)
        for one in heard
    ]
    fit = replace(fit, swims={swim.key: fit.swims[swim.key] for swim in swims})
    step.done()
    logged = listened is not None and listened.axis.logged
    return OneClock(fit, found_ties, _signal(listened), heard, logged, blur_s, fitted)


@dataclass
class _Steps:
    on_progress: Callable[[float], None] | None
    should_stop: Callable[[], bool] | None
    total: int
    taken: int = 0

    def take(self) -> None:
        self.taken += 1
        if self.should_stop is not None and self.should_stop():
            raise AlignStopped
        if self.on_progress is not None:
            self.on_progress(min(self.taken / self.total, 0.99))

    def done(self) -> None:
        if self.on_progress is not None:
            self.on_progress(1.0)


# --- the signal and the axis -----------------------------------------------------------------


@dataclass(frozen=True)
class _Heard:
    """A signal, from which recording it was learned, where it arrives in each, the axis."""

    learned: Learned
    learned_from: str
    arrivals: dict[str, Arrivals]
    axis: Axis

    @property
    def worth(self) -> tuple[bool, int]:
        return self.axis.logged, sum(place.count for place in self.axis.places.values())


def _listen(
    ears: list[Ear], taps_s: Float64, siblings: dict[str, Sibling], step: _Steps
) -> _Heard | None:
    """Learn the signal where the start log or its recurring gives it away; lay all out by it;
    then learn it once more from the recording that hears it clearest."""
    for ear in ears:
        if len(taps_s) >= 3:
            ear.listen(taps_s.tolist())
        step.take()
    best: _Heard | None = None
    for learned, key in _signals(ears, taps_s):
        tried = _lay_out(ears, learned, key, taps_s, siblings, step)
        if best is None or tried.worth > best.worth:
            best = tried
        if tried.axis.logged and tried.axis.anchor_p < CERTAIN_P:
            break
    if best is None:
        return None
    _keep(ears, best)
    clearest = _hears_best(best.axis, ears)
    if clearest is not None and clearest.key != best.learned_from:
        again = clearest.learned_again(_onsets(best.axis, clearest))
        if again is not None and again.alike > best.learned.alike:
            tried = _lay_out(ears, again, clearest.key, taps_s, siblings, step)
            is_logged, count = best.worth
            if tried.worth >= (is_logged, round(NEARLY * count)):
                best = tried  # cleaner, even if an echo less is taken for a start
    _keep(ears, best)
    return best


def _keep(ears: list[Ear], heard: _Heard) -> None:
    for ear in ears:
        ear.arrivals = heard.arrivals[ear.key]


def _signals(ears: list[Ear], taps_s: Float64) -> list[tuple[Learned, str]]:
    """What the start signal may sound like, best first: where the log's intervals stand out,
    the clearest snippets count; where they do not, what recurs."""
    found: list[tuple[float, Learned, str]] = []
    for ear in sorted(ears, key=lambda ear: -_ratio(ear))[:TRIES]:
        if ear.hunches and _ratio(ear) > 1.0:
            learned = ear.learned_by(taps_s.tolist(), ear.hunches[0])
            if learned is not None:
                clear = min(_ratio(ear), 3.0) * learned.alike * (learned.agreeing / learned.of)
                found.append((clear, learned, ear.key))
    if not any(_ratio(ear) >= STANDS_OUT for ear in ears):
        for ear in sorted(ears, key=lambda ear: ear.travel_s)[: 2 * TRIES]:
            learned = ear.learned_recurring()
            if learned is not None:
                found.append((learned.alike, learned, ear.key))
    found.sort(key=lambda one: -one[0])
    return [(learned, key) for _clear, learned, key in found[:TRIES]]


def _ratio(ear: Ear) -> float:
    if len(ear.hunches) < 2:
        return 0.0
    return ear.hunches[0].height / max(ear.hunches[1].height, 1e-9)


def _lay_out(
    ears: list[Ear],
    learned: Learned,
    key: str,
    taps_s: Float64,
    siblings: dict[str, Sibling],
    step: _Steps,
) -> _Heard:
    for ear in ears:
        ear.hear(learned)
        step.take()
    arrivals = {ear.key: ear.arrivals for ear in ears}
    return _Heard(learned, key, arrivals, axes.lay_out(ears, taps_s, siblings, key))


def _settle(
    ears: list[Ear], heard: _Heard, taps_s: Float64, siblings: dict[str, Sibling]
) -> dict[str, float]:
    """Time the axis by the recordings whose place is beyond doubt, lay the others over it again,
    time all. How far each recording's arrivals may be off together (standard uncertainty, s)."""
    retime_all(ears, heard.learned, heard.axis, only_firm=True)
    axes.lay_out_again(heard.axis, ears, taps_s, siblings)
    return retime_all(ears, heard.learned, heard.axis)


def _onsets(axis: Axis, ear: Ear) -> list[float]:
    """Where this recording hears what is on the axis."""
    told = axis.places[ear.key].told(ear.arrivals.media_s - ear.travel_s)
    own, _theirs = pairs(told, axis.starts_s, ABOUT_S)
    return [float(ear.arrivals.media_s[n]) for n in own]


def _hears_best(axis: Axis, ears: list[Ear]) -> Ear | None:
    """The placed recording that is nearest to the starter and hears enough starts."""
    placed = nearest_first(ears, axis)
    return next((ear for ear in placed if len(_onsets(axis, ear)) >= ENOUGH), None)


# --- evidence ----------------------------------------------------------------------------------


def _evidence(
    recordings: Sequence[RecordingIn],
    ears: list[Ear],
    heard: _Heard | None,
    blur_s: dict[str, float],
) -> dict[str, clockfit.Evidence]:
    """Per recording that has sound: how its sound was placed, or why it was not."""
    by_key = {ear.key: ear for ear in ears}
    axis = heard.axis if heard is not None else Axis()
    evidence = {}
    for recording in recordings:
        ear = by_key.get(recording.key)
        if ear is None:
            continue
        place = axis.places.get(ear.key)
        if place is not None:
            p = min(place.p + (axis.anchor_p if axis.logged else 0.0), 1.0)
            evidence[ear.key] = clockfit.Evidence(
                p=p, logged=axis.logged, blur_s=blur_s.get(ear.key, UNTIMED_BLUR_S)
            )
        elif ear.key in axis.ambiguous:
            two = axis.ambiguous[ear.key]
            evidence[ear.key] = clockfit.Evidence(
                p=two[0].p,
                logged=axis.logged,
                places=tuple((place.zero_s, place.count) for place in two),
                of=len(axis.starts_s),
            )
        else:
            factor = _stretch(ear, axis, heard.learned) if heard is not None else None
            evidence[ear.key] = clockfit.Evidence(p=None, logged=axis.logged, slow_motion=factor)
    return evidence


def _stretch(ear: Ear, axis: Axis, learned: Learned) -> float | None:
    """By which factor this recording would fit if it were slow motion."""
    if len(axis.starts_s) < 4 or not axis.logged:
        return None
    for factor in STRETCHES:
        if factor == ear.slow_motion or ear.duration_s * ear.slow_motion / factor < 20:
            continue
        if fits(axis, ear, ear.heard(learned, factor)):
            return factor
    return None


def _tie_in(tie: SoundTie, known: dict[str, RecordingIn]) -> TieIn:
    """Seconds at the pool are media seconds again."""
    return TieIn(
        key=tie.key,
        recording=tie.recording,
        kind=clockfit.START_HEARD,
        media_s=tie.at_s * known[tie.recording].slow_motion,
        half_frame_s=0.0,
        u_s=tie.u_s * known[tie.recording].slow_motion,
        swim=tie.swim,
        travel_s=tie.travel_s,
        found_by=clockfit.SOUND,
        score=tie.score,
    )


def _signal(heard: _Heard | None) -> Signal | None:
    if heard is None:
        return None
    learned, key = heard.learned, heard.learned_from
    length_s = (learned.length - learned.lead) / learned.rate_hz
    return Signal(learned.hz, length_s, key, learned.agreeing, learned.of, learned.alike)
