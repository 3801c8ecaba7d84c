"""A phone's clock against the server's: time stamps with imposed offset, delays and drift, and
two phones that read each other's code.

Outside references: the formulas and the example of RFC 5905 section 8, as discussed in its
errata 5020 and 3125 (rfc-editor.org/errata); the agreement of intervals, with two examples that
are published (sources beside them).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from clinics.compute.errors import BadInput
from clinics.compute.phone_clock import (
    Exchange,
    NoTie,
    Scan,
    Tie,
    best_offset,
    bursts,
    format_code,
    parse_code,
    ties_of,
)
from clinics.compute.phone_clock.exchange import RESOLUTION_MS, middle_and_u_ms

Floats = NDArray[np.float64]
Draw = Callable[[np.random.Generator, tuple[int, int]], Floats]
SERVER_MS = 1_794_650_400_000.0
RUNS = 20_000
few = settings(max_examples=60, deadline=None)


def exchange(sent_ms: float, there_ms: float, back_ms: float, *, offset_ms: float, busy_ms=0.0):
    """What is stored of one exchange when the server's clock is ahead by `offset_ms`."""
    receipt_ms = sent_ms + there_ms + offset_ms
    came_ms = sent_ms + there_ms + busy_ms + back_ms
    return Exchange(sent_ms, receipt_ms, receipt_ms + busy_ms, came_ms, SERVER_MS)


# --- one offset from several exchanges ---------------------------------------------------------


def test_the_offset_is_that_of_the_protocol() -> None:
    """RFC 5905, section 8: theta = ((T2 - T1) + (T3 - T4)) / 2, delta = (T4 - T1) - (T3 - T2).
    Errata 5020: clocks exactly alike and 50 ms each way give offset 0, not 50."""
    one = Exchange(sent_ms=0, server_ms=50, answered_ms=50, came_ms=100, wall_ms=0)
    best = best_offset([one])
    assert best is not None
    assert (best.offset_ms, one.round_trip_ms) == (0, 100)
    busy = Exchange(sent_ms=1000, server_ms=61_040, answered_ms=61_047, came_ms=1081, wall_ms=0)
    best = best_offset([busy])
    assert best is not None
    assert best.offset_ms == ((61_040 - 1000) + (61_047 - 1081)) / 2
    assert busy.round_trip_ms == (1081 - 1000) - (61_047 - 61_040)


def of_interval(low_ms: float, high_ms: float, sent_ms: float = 0.0) -> Exchange:
    """An exchange that bounds the offset so (round trip high - low)."""
    return Exchange(sent_ms, sent_ms + high_ms, sent_ms + high_ms, sent_ms + high_ms - low_ms, 0)


def test_bounds_that_agree_are_intersected() -> None:
    """10 ± 2, 12 ± 1 and 11 ± 1 agree on 11.5 ± 0.5 (the usual example of Marzullo's algorithm,
    assignmenthippo.com/marzullo-algorithm-assignment-help); here in seconds."""
    told = [of_interval(8000, 12_000), of_interval(11_000, 13_000), of_interval(10_000, 12_000)]
    best = best_offset(told)
    assert best is not None
    assert best.refused == 0
    assert best.low_ms == pytest.approx(11_000, abs=2) and best.high_ms == pytest.approx(
        12_000, abs=2
    )
    assert best.offset_ms == pytest.approx(11_500, abs=1)


def test_one_that_contradicts_the_others_is_left_out() -> None:
    """11:53, 11:55 and 23:52, each good to two minutes: 11:53 to 11:55, and the third is wrong
    (lists.ntp.org/pipermail/questions/2005-March/004762.html)."""
    minutes = [(11 * 60 + 51, 11 * 60 + 55), (11 * 60 + 53, 11 * 60 + 57), (1430, 1434)]
    told = [of_interval(60_000 * low, 60_000 * high) for low, high in minutes]
    best = best_offset(told)
    assert best is not None
    assert (best.exchanges, best.refused) == (2, 1)
    assert best.low_ms == pytest.approx(60_000 * (11 * 60 + 53), abs=30)
    assert best.high_ms == pytest.approx(60_000 * (11 * 60 + 55), abs=30)


def test_two_that_contradict_each_other_tell_nothing() -> None:
    assert best_offset([of_interval(0, 40), of_interval(5000, 5040)]) is None


@pytest.mark.parametrize(
    "bad",
    [
        Exchange(100, 5000, 5000, 90, 0),
        Exchange(100, 5000, 4990, 120, 0),
        Exchange(100, 5000, 5100, 120, 0),
        Exchange(100, math.nan, 5000, 120, 0),
        Exchange(100, 5000, 5000, math.inf, 0),
    ],
)
def test_what_cannot_be_is_left_out(bad: Exchange) -> None:
    good = exchange(100, 10, 10, offset_ms=4890)
    assert best_offset([bad]) is None
    assert best_offset([bad, good]) == replace(_offset(good), refused=1)


def _offset(*told: Exchange):
    best = best_offset(told)
    assert best is not None
    return best


def test_exchanges_of_one_moment_make_one_offset() -> None:
    first = [exchange(1000 + 300 * n, 20, 20, offset_ms=7) for n in range(5)]
    later = [exchange(600_000 + 300 * n, 20, 20, offset_ms=7) for n in range(3)]
    assert [one.exchanges for one in bursts([*later, *first])] == [5, 3]


def test_a_burst_does_not_go_on_for_ever() -> None:
    """Once in five seconds for an hour on a quick network: offsets of a few exchanges each, and a
    clock that runs off by 200 millionths does not contradict itself."""
    rate = 200e-6
    drifting = [exchange(5000.0 * n, 0.1, 0.1, offset_ms=5000 * n * rate) for n in range(720)]
    offsets = bursts(drifting)
    assert sum(one.exchanges for one in offsets) == 720
    assert len(offsets) > 100
    assert all(one.low_ms <= rate * one.at_ms <= one.high_ms for one in offsets)
    assert all(one.high_ms - one.low_ms < 15 for one in offsets)


# --- is the uncertainty what it says? ----------------------------------------------------------


@dataclass(frozen=True)
class Network:
    """The least delay there and back differs from phone to phone (`least`), waiting from
    exchange to exchange (`wait`: shape and mean of a gamma distribution; 1 is exponential)."""

    there: Draw
    back: Draw
    wait_there: tuple[float, float]
    wait_back: tuple[float, float]

    def draw(self, rng: np.random.Generator, runs: int, count: int) -> tuple[Floats, Floats]:
        ways = []
        for least, (shape, mean_ms) in (
            (self.there, self.wait_there),
            (self.back, self.wait_back),
        ):
            wait_ms = rng.gamma(shape, mean_ms / shape, (runs, count))
            ways.append(least(rng, (runs, 1)) + wait_ms)
        return ways[0], ways[1]


def evenly(low_ms: float, high_ms: float) -> Draw:
    return lambda rng, shape: rng.uniform(low_ms, high_ms, shape)


def about(median_ms: float, spread: float) -> Draw:
    return lambda rng, shape: median_ms * np.exp(spread * rng.standard_normal(shape))


def always(ms: float) -> Draw:
    return lambda _rng, shape: np.full(shape, ms)


NETWORKS = {
    "wireless, symmetrical on average": Network(about(7, 0.6), about(7, 0.6), (1, 5), (1, 5)),
    "mobile, any split": Network(evenly(8, 80), evenly(8, 80), (1, 25), (1, 10)),
    "mobile, the way there twice as long": Network(about(40, 0.3), about(20, 0.3), (1, 20), (1, 8)),
    "mobile, the way back twice as long": Network(about(20, 0.3), about(40, 0.3), (1, 8), (1, 20)),
    "mobile, longer there, waits in a heap": Network(
        about(40, 0.4), about(25, 0.4), (1.5, 20), (1, 8)
    ),
}


@pytest.mark.parametrize("count", [1, 2, 3, 5, 10])
@pytest.mark.parametrize("name", NETWORKS)
def test_twice_the_uncertainty_covers_and_is_not_silly(name: str, count: int) -> None:
    """The bar: 95 to 99.5 % of runs covered by U = 2 u, median U at most 3 × median error."""
    rng = np.random.default_rng(20_261_114)
    there_ms, back_ms = NETWORKS[name].draw(rng, RUNS, count)
    offset_ms = rng.uniform(-1e7, 1e7, (RUNS, 1))
    middle_ms, u_ms = middle_and_u_ms(there_ms + offset_ms, back_ms - offset_ms)
    error_ms = np.abs(middle_ms - offset_ms[:, 0])
    covered = np.mean(error_ms <= 2 * u_ms)
    assert 0.95 <= covered <= 0.995
    assert np.median(2 * u_ms) <= 3 * np.median(error_ms)


@pytest.mark.parametrize("count", [1, 3, 5, 10])
def test_from_stored_stamps_with_drift_and_rounding_too(count: int) -> None:
    """The same through what a phone really sends: epoch milliseconds, a clock that is rounded
    down to whole milliseconds and runs off by up to 40 millionths, exchanges 0.4 s apart."""
    rng = np.random.default_rng(7)
    runs = 2000
    network = NETWORKS["mobile, longer there, waits in a heap"]
    there_ms, back_ms = network.draw(rng, runs, count)
    error_ms, stated_ms = np.empty(runs), np.empty(runs)
    for run in range(runs):
        rate = rng.uniform(-4e-5, 4e-5)
        begin_ms = SERVER_MS + rng.uniform(-1e7, 1e7)
        told = []
        for n, (there, back) in enumerate(zip(there_ms[run], back_ms[run], strict=True)):
            sent = 60_000 + 400.0 * n
            receipt = begin_ms + sent + there
            stamps = ((sent, sent + there + 3.2 + back), (receipt, receipt + 3.2))
            sent_ms, came_ms = (math.floor(at / (1 + rate)) for at in stamps[0])
            told.append(Exchange(sent_ms, *stamps[1], came_ms, SERVER_MS))
        best = _offset(*told)
        truth_ms = begin_ms + best.at_ms * (1 + rate) - best.at_ms
        assert best.low_ms <= truth_ms <= best.high_ms
        error_ms[run], stated_ms[run] = abs(best.offset_ms - truth_ms), best.expanded_ms
    assert 0.95 <= np.mean(error_ms <= stated_ms) <= 0.995
    assert np.median(stated_ms) <= 3 * np.median(error_ms)


def _covered(network: Network, count: int) -> tuple[float, float]:
    """Share covered, and median U over median error."""
    rng = np.random.default_rng(3)
    there_ms, back_ms = network.draw(rng, RUNS, count)
    middle_ms, u_ms = middle_and_u_ms(there_ms, back_ms)
    ratio = np.median(2 * u_ms) / np.median(np.abs(middle_ms))
    return float(np.mean(np.abs(middle_ms) <= 2 * u_ms)), float(ratio)


def test_where_the_bar_is_out_of_reach() -> None:
    """What the module's docstring admits: nothing in time stamps tells these two apart, so no
    model can meet the bar in both. Ways that are exactly alike: covered always, U far too large.
    Nine times as long there as back: hardly ever covered; the bounds hold whatever it is."""
    alike = Network(always(10), always(10), (1, 5), (1, 5))
    covered, ratio = _covered(alike, 10)
    assert covered == 1 and ratio > 10
    lopsided = Network(always(90), always(10), (1, 5), (1, 5))
    covered, _ratio = _covered(lopsided, 10)
    assert covered < 0.05
    there_ms, back_ms = lopsided.draw(np.random.default_rng(1), 200, 10)
    for there, back in zip(there_ms, back_ms, strict=True):
        best = _offset(
            *(
                exchange(n, *ways, offset_ms=500)
                for n, ways in enumerate(zip(there, back, strict=True))
            )
        )
        assert best.low_ms <= 500 <= best.high_ms


def test_phones_beyond_what_is_assumed_are_covered_less_often() -> None:
    """Also in the docstring: twice as long one way on average, and wide scatter on top."""
    wide = [lambda rng, shape, ms=ms: rng.gamma(4, ms / 4, shape) for ms in (20, 40)]
    covered, ratio = _covered(Network(*wide, (1, 8), (1, 40)), 5)
    assert 0.85 <= covered <= 0.90 and ratio < 2


def test_one_exchange_on_a_busy_network_is_covered_less_often() -> None:
    """Also in the docstring: some 88 % with a single one; with three it is right again."""
    busy = Network(evenly(5, 50), evenly(5, 50), (0.5, 40), (0.5, 40))
    assert 0.85 <= _covered(busy, 1)[0] <= 0.90
    assert 0.95 <= _covered(busy, 3)[0] <= 0.995


delays = st.floats(0, 3000)


@few
@given(
    st.lists(st.tuples(st.floats(0, 15_000), delays, delays), min_size=1, max_size=8),
    st.floats(-1e12, 2e12),
    st.randoms(use_true_random=False),
)
def test_whatever_the_delays_the_truth_is_within_the_bounds(ways, offset_ms, random) -> None:
    told = [exchange(sent, there, back, offset_ms=offset_ms) for sent, there, back in ways]
    best = _offset(*told)
    assert best.low_ms <= offset_ms <= best.high_ms
    assert best.low_ms <= best.offset_ms <= best.high_ms
    assert best.expanded_ms <= (best.high_ms - best.low_ms) / 2 + RESOLUTION_MS
    again = [*told, random.choice(told)]
    random.shuffle(again)
    assert best_offset(again) == best


# --- two phones ---------------------------------------------------------------------------------


def scans(ahead_ms: float, latencies_ms, *, at_ms: float = 50_000, gap_ms: float = 2000):
    """Scans of phones "a" and "b" by turns; a's clock is ahead by `ahead_ms`."""
    told = []
    for n, latency_ms in enumerate(latencies_ms):
        shown_ms = at_ms + gap_ms * n
        if n % 2 == 0:
            told.append(Scan("a", shown_ms, "b", shown_ms + latency_ms - ahead_ms))
        else:
            told.append(Scan("b", shown_ms - ahead_ms, "a", shown_ms + latency_ms))
    return told


def test_two_phones_that_scan_each_other_are_tied() -> None:
    [tie] = ties_of(scans(7_000.0, [180, 240]))
    assert isinstance(tie, Tie)
    assert (tie.run, tie.other_run, tie.both_ways, tie.scans) == ("a", "b", True, 2)
    assert tie.at_ms - tie.other_ms == pytest.approx(7000 + (240 - 180) / 2, abs=1)
    assert 30 <= 2 * tie.u_ms <= 210


def test_one_way_alone_is_worth_less() -> None:
    latency_ms = 300.0
    [tie] = ties_of(scans(-7_000.0, [latency_ms]))
    [back] = ties_of([Scan("b", 500, "a", 500 - 7000 + latency_ms)])
    for one in (tie, back):
        assert isinstance(one, Tie) and not one.both_ways
        assert abs(one.at_ms - one.other_ms + 7000) <= 2 * one.u_ms
        assert 400 <= 2 * one.u_ms <= 600


def test_ties_cover_what_was_imposed() -> None:
    """Latencies of 60 to 500 ms each way, three scans each (common practice, no source). On the
    safe side here: two cameras are more alike than two ways through a network may be."""
    rng = np.random.default_rng(11)
    errors_ms, stated_ms = [], []
    for _ in range(1500):
        least_ms = rng.uniform(60, 350, 2)
        latencies = [least_ms[n % 2] + rng.exponential(60) for n in range(6)]
        ahead_ms = rng.uniform(-1e6, 1e6)
        [tie] = ties_of(scans(ahead_ms, latencies, at_ms=2e6))
        assert isinstance(tie, Tie)
        errors_ms.append(abs(tie.at_ms - tie.other_ms - ahead_ms))
        stated_ms.append(2 * tie.u_ms)
    assert np.mean(np.array(errors_ms) <= stated_ms) >= 0.95
    assert np.median(stated_ms) <= 4 * np.median(errors_ms)


def test_scans_far_apart_are_ties_of_their_own() -> None:
    told = [*scans(100.0, [200, 200]), *scans(140.0, [200, 200], at_ms=5e6)]
    ties = ties_of([told[2], *told, told[0]])
    assert [round(tie.at_ms - tie.other_ms) for tie in ties if isinstance(tie, Tie)] == [100, 140]
    assert ties == ties_of(reversed(told))


def test_phones_that_run_apart_meanwhile_do_not_disagree() -> None:
    """200 millionths each, 100 s between the scans: 40 ms, more than both latencies."""
    told = [Scan("a", 0.0, "b", 10.0), Scan("b", 100_020.0, "a", 99_990.0)]
    assert all(isinstance(tie, Tie) for tie in ties_of(told))


def test_scans_that_give_no_tie_say_why() -> None:
    assert ties_of([Scan("a", 5, "a", 9)]) == [NoTie("a", "a", "own")]
    before_drawn = [Scan("a", 1000, "b", 1000), Scan("b", 2000, "a", 1500)]
    assert ties_of(before_drawn) == [NoTie("a", "b", "disagree")]
    assert ties_of([Scan("a", math.nan, "b", 1)]) == []


@few
@given(
    st.text("abcXYZ019._-", min_size=1, max_size=60),
    st.floats(0, 9e10).map(lambda ms: round(ms, 1)),
)
def test_a_code_comes_back_from_its_text(run: str, ms: float) -> None:
    assert parse_code(f" {format_code(run, ms)}\n") == (run, ms)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not the code of a phone's clock"),
        ("https://example.org", "not the code of a phone's clock"),
        ("S1K2TQ51X46BK0C4MBB5", "not the code of a phone's clock"),
        ("sidelane-clock:2:run:1.0", "another version"),
        ("sidelane-clock", "another version"),
        ("sidelane-clock:1:run", "not whole"),
        ("sidelane-clock:1::5.0", "not whole"),
        ("sidelane-clock:1:run:5.0:6", "not whole"),
        ("sidelane-clock:1:run:-5.0", "not whole"),
        ("sidelane-clock:1:run:nan", "not whole"),
        ("sidelane-clock:1:run:1e5", "not whole"),
        ("sidelane-clock:1:run:٣", "not whole"),
        ("sidelane-clock:1:a b:5.0", "not whole"),
        (f"sidelane-clock:1:{'r' * 61}:5.0", "not whole"),
    ],
)
def test_a_code_that_is_none_says_what_to_do(text: str, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        parse_code(text)


@pytest.mark.parametrize(("run", "ms"), [("a:b", 1.0), ("", 1.0), ("r", -1.0), ("r", math.nan)])
def test_a_code_that_nobody_could_read_is_not_made(run: str, ms: float) -> None:
    with pytest.raises(ValueError, match="needs a run's id"):
        format_code(run, ms)
