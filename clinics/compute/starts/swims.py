"""Which arrivals are which swim's start: ties for the joint fit, and signals no swim explains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clinics.compute.clockfit import SwimIn
from clinics.compute.starts.hearing import Ear
from clinics.compute.starts.places import WITHIN_S, Axis

Float64 = NDArray[np.float64]
EARLY_S, LATE_S = 0.75, 0.45  # a start lies so far before, or after, its tap at most
ALONE = 0.8  # of the recording's usual score: what one recording alone must reach
LEAST_U_S, MOST_U_S = 0.00003, 0.004
UNLOGGED_U_S = 0.5  # of a start that has no tap: the axis says where it is, not the log
SAME_S = 2 * WITHIN_S
# More signals than that which are in no log are given in another lane: they come from another
# place, and what they would say of the clocks is wrong by the way of their sound.
FEW_UNLOGGED = 0.3


@dataclass(frozen=True)
class SoundTie:
    """The signal's onset at `at_s` seconds (at the pool) of a recording is this swim's start,
    or that of a signal no swim explains. `score` 0 to 1."""

    key: str
    recording: str
    at_s: float
    u_s: float
    swim: str
    travel_s: float
    score: float


@dataclass(frozen=True)
class Heard:
    """A start signal that no swim explains: clinic seconds, standard uncertainty, by how many
    recordings it is heard, the best score. `tap_s`, `tap_u_s`: as it goes into the fit."""

    key: str
    instant_s: float
    u_s: float
    heard_by: int
    score: float
    tap_s: float
    tap_u_s: float


@dataclass
class _Cluster:
    at_s: float
    members: list[tuple[str, int]]  # recording, number of its arrival
    score: float


def sound_ties(
    axis: Axis, ears: Sequence[Ear], swims: Sequence[SwimIn]
) -> tuple[list[SoundTie], list[Heard]]:
    """Ties of all placed recordings, and the starts that are in no log."""
    by_key = {ear.key: ear for ear in ears if ear.key in axis.places}
    clusters = _clusters(axis, by_key)
    owner = _assign(clusters, swims) if axis.logged else {}
    u_s = _spread_s(axis, by_key, clusters)
    elsewhere = [n for n, one in enumerate(clusters) if n not in owner and len(one.members) >= 2]
    tie_unlogged = not axis.logged or len(elsewhere) <= FEW_UNLOGGED * len(owner)
    ties: list[SoundTie] = []
    heard: list[Heard] = []
    for number, cluster in enumerate(clusters):
        swim = owner.get(number)
        if swim is None:
            if not _counts(axis, by_key, cluster, alone=not axis.logged):
                continue
            swim = f"heard {len(heard)}"
            heard.append(
                Heard(swim, cluster.at_s, UNLOGGED_U_S, len(cluster.members), cluster.score,
                      cluster.at_s, UNLOGGED_U_S)
            )  # fmt: skip
            if not tie_unlogged:
                continue
        for key, n in cluster.members:
            ear = by_key[key]
            ties.append(
                SoundTie(
                    key=f"{key} hears {swim}",
                    recording=key,
                    at_s=float(ear.arrivals.media_s[n]),
                    u_s=u_s[key],
                    swim=swim,
                    travel_s=ear.travel_s,
                    score=float(ear.arrivals.score[n]),
                )
            )
    return ties, heard


def _clusters(axis: Axis, by_key: dict[str, Ear]) -> list[_Cluster]:
    """Arrivals of all placed recordings that are one signal: on the axis within SAME_S."""
    at, whose, number, score = [], [], [], []
    for key, ear in by_key.items():
        least = 0.5 * axis.usual_score.get(key, 0.0)
        told = axis.places[key].told(ear.arrivals.media_s - ear.travel_s)
        for n in np.flatnonzero(ear.arrivals.score >= least):
            at.append(float(told[n]))
            whose.append(key)
            number.append(int(n))
            score.append(float(ear.arrivals.score[n] / max(axis.usual_score.get(key, 1.0), 1e-6)))
    order = np.argsort(at)
    clusters: list[_Cluster] = []
    for i in order:
        last = clusters[-1] if clusters else None
        if (
            last is not None
            and at[i] - last.at_s <= SAME_S
            and whose[i] not in (key for key, _n in last.members)
        ):
            last.members.append((whose[i], number[i]))
            last.score = max(last.score, score[i])
            last.at_s += (at[i] - last.at_s) / len(last.members)
        else:
            clusters.append(_Cluster(at[i], [(whose[i], number[i])], score[i]))
    return clusters


def _counts(axis: Axis, by_key: dict[str, Ear], cluster: _Cluster, *, alone: bool) -> bool:
    """Heard by two, or by one that hears it as well as it usually does."""
    if len(cluster.members) >= 2:
        return cluster.score >= ALONE
    return alone and cluster.score >= ALONE


def _assign(clusters: list[_Cluster], swims: Sequence[SwimIn]) -> dict[int, str]:
    """Each swim's start: of the signals about its tap the one heard by most, then the best.

    Twice: the second time taps are taken to be as late as they were found to be as a whole,
    so that the signal of a neighbouring lane half a second off is not taken for it.
    """
    late_s, early, late = 0.0, EARLY_S, LATE_S
    owner: dict[int, str] = {}
    at = np.array([cluster.at_s for cluster in clusters])
    for _ in range(2):
        owner, off = {}, []
        for swim in swims:
            told = swim.tap_s - late_s
            near = np.flatnonzero((at >= told - early) & (at <= told + late))
            good = [
                n for n in near
                if len(clusters[n].members) >= 2 or clusters[n].score >= ALONE
            ]  # fmt: skip
            if not good:
                continue
            best = max(
                good,
                key=lambda n: (
                    min(len(clusters[n].members), 2) * _near(float(at[n]) - told),
                    clusters[n].score,
                ),
            )
            if int(best) not in owner:
                owner[int(best)] = swim.key
                off.append(swim.tap_s - at[best])
        if not off:
            return {}
        late_s = float(np.median(off))
        early, late = 0.55, 0.3
    return owner


def _near(off_s: float) -> float:
    """1 at the tap, falling with the distance as taps scatter."""
    return 1.0 / (1.0 + (off_s / 0.15) ** 2)


def _spread_s(axis: Axis, by_key: dict[str, Ear], clusters: list[_Cluster]) -> dict[str, float]:
    """How each recording's arrivals scatter about what all hear together: robust, in s."""
    off: dict[str, list[float]] = {key: [] for key in by_key}
    for cluster in clusters:
        if len(cluster.members) < 2:
            continue
        for key, n in cluster.members:
            ear = by_key[key]
            told = axis.places[key].told(np.array([ear.arrivals.media_s[n] - ear.travel_s]))[0]
            off[key].append(float(told) - cluster.at_s)
    spread = {}
    for key, values in off.items():
        mad_s = (
            1.4826 * float(np.median(np.abs(np.array(values) - np.median(values))))
            if values
            else MOST_U_S
        )
        spread[key] = float(np.clip(mad_s, LEAST_U_S, MOST_U_S))
    return spread
