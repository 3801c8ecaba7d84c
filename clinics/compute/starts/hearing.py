"""One recording's soundtrack, listened to: where the start log fits, where the signal arrives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.compute.starts import arrivals as arriving
from clinics.compute.starts import comb, learn
from clinics.compute.starts.arrivals import Arrivals
from clinics.compute.starts.learn import Learned
from clinics.compute.starts.whiten import Float32, Samples, whiten, whitener

SHUFFLES = 16


@dataclass
class Ear:
    """All times are in seconds as they passed at the pool: media seconds over `slow_motion`.

    `samples` are read anew for each step and never changed; nothing of an hour's size is kept
    between the steps.
    """

    key: str
    samples: Samples
    rate_hz: int
    travel_s: float
    slow_motion: float = 1.0
    hunches: list[comb.Hunch] = field(default_factory=list)
    arrivals: Arrivals = field(default_factory=lambda: Arrivals(np.empty(0), np.empty(0)))

    @property
    def duration_s(self) -> float:
        return len(self.samples) / self.rate_hz / self.slow_motion

    def sound(self) -> Samples:
        """The samples as they sounded at the pool, a stretch to slow motion taken back."""
        return pressed(self.samples, self.slow_motion)

    def listen(self, taps_s: Sequence[float]) -> None:
        """Where the start log's intervals might lie in this soundtrack."""
        levels, hz = comb.loudness_in_bands(self.sound(), self.rate_hz)
        self.hunches = comb.hunches(levels, hz, self.rate_hz, taps_s)

    def chance_of_hunch(self, taps_s: Sequence[float]) -> float:
        """Probability that the comb stands out as far by chance, from shuffled logs.

        The heights that shuffled logs reach have a Gumbel distribution, as maxima have.
        """
        levels, hz = comb.loudness_in_bands(self.sound(), self.rate_hz)
        return comb.false_match_p(levels, hz, self.rate_hz, taps_s, self.hunches, SHUFFLES)

    def learned_by(self, taps_s: Sequence[float], hunch: comb.Hunch) -> Learned | None:
        """The signal, as it sounds where the start log lies by this hunch."""
        sound = self.sound()
        track = whiten(sound, whitener(sound, self.rate_hz))
        places = [tap - hunch.zero_s for tap in taps_s]
        return learn.learn_at(track, sound, self.rate_hz, places, reach_s=0.6, hz=hunch.hz)

    def learned_again(self, onsets_s: Sequence[float]) -> Learned | None:
        """The signal, from places where it was already found."""
        sound = self.sound()
        track = whiten(sound, whitener(sound, self.rate_hz))
        return learn.learn_around(track, sound, self.rate_hz, onsets_s)

    def learned_recurring(self) -> Learned | None:
        """Whatever sounds alike again and again: no start log is needed."""
        sound = self.sound()
        levels, _hz = comb.loudness_in_bands(sound, self.rate_hz)
        track = whiten(sound, whitener(sound, self.rate_hz))
        return learn.learn_recurring(track, sound, levels, self.rate_hz)

    def hear(self, learned: Learned) -> None:
        """Where the learned signal arrives, timed by its attack."""
        self.arrivals = self.heard(learned)

    def heard(self, learned: Learned, slow_motion: float | None = None) -> Arrivals:
        """As `hear`, without keeping it, and as if stretched by another factor."""
        sound = pressed(self.samples, slow_motion or self.slow_motion)
        if len(sound) < 2 * len(learned.sound):
            return Arrivals(np.empty(0), np.empty(0))
        taps = whitener(sound, self.rate_hz)
        track: Float32 = whiten(sound, taps)
        score = arriving.score_of(track, learned.template(taps))
        rough = arriving.find_arrivals(score, self.rate_hz)
        del score
        rough = Arrivals(rough.media_s + learned.lead / self.rate_hz, rough.score)
        attack, onset = learned.attack(taps)
        at_s = arriving.timed(track, attack, onset, rough, self.rate_hz)
        order = np.argsort(at_s)
        return Arrivals(at_s[order], rough.score[order])


def pressed(samples: Samples, slow_motion: float) -> Samples:
    """Sound that was stretched `slow_motion` times, as it was before; float32 if it changes."""
    if slow_motion == 1.0:
        return samples
    ratio = Fraction(slow_motion).limit_denominator(20)
    sound: NDArray[np.float32] = np.asarray(samples, dtype=np.float32)
    return scipy.signal.resample_poly(sound, ratio.denominator, ratio.numerator).astype(np.float32)
