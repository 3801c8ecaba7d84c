"""All measures of a swim with 60 marks, each with its ±, beside a reference in the same run."""

from __future__ import annotations

import dataclasses
import math
import statistics
import time
from collections.abc import Callable

import pytest

from feedback.compute.measuring import uncertain
from feedback.compute.measuring.events import Event, Seen
from feedback.compute.measuring.notation import claim, written
from feedback.compute.measuring.whole import Measured, measure_swim
from tests.feedback.measuring.swims import COURSE, Cameras

MARKS, WITHIN_S, RUNS = 60, 0.020, 15
AT_MOST = 1.5  # times the reference: a hundred thousand error functions


def sixty() -> list[Seen]:
    """The known swim, and its second length's hands marked by somebody else as well."""
    marks, _zero = Cameras().film()
    hands = [one for one in marks if one.event is Event.HAND_ENTRY]
    heads = [one for one in marks if one.event is Event.HEAD_AT_DISTANCE]
    again = [
        dataclasses.replace(one, key=f"{one.key} again", by="other", frame_s=one.frame_s + 0.04)
        for one in (*hands, *heads, *marks)
    ]
    unlike = {one.key: one for one in (*marks, *again)}
    return list(unlike.values())[:MARKS]


def all_of_it(marks: list[Seen]) -> Measured:
    uncertain._found.cache_clear()  # nothing is known from the swim before
    _marks, zero = Cameras().film(truth=())
    found = measure_swim(marks, COURSE, zero, by="ines")
    for one in found.measures:
        claim(one.quantity)
        written(one.quantity)
    return found


def reference() -> float:
    return math.fsum(math.erf(n / 1e5) for n in range(100_000))


def median_s(work: Callable[[], object]) -> float:
    """Of the processor's time, so that what else runs does not count."""
    took = []
    for _ in range(RUNS):
        began = time.process_time()
        work()
        took.append(time.process_time() - began)
    return statistics.median(took)


@pytest.mark.bench
def test_measures_of_sixty_marks_are_there_at_once() -> None:
    marks = sixty()
    assert len(marks) == MARKS
    assert len(all_of_it(marks).measures) > 30
    plain_s, measured_s = median_s(reference), median_s(lambda: all_of_it(marks))
    ratio = measured_s / plain_s
    print(
        f"{MARKS} marks: {1000 * measured_s:.1f} ms, reference {1000 * plain_s:.1f} ms, {ratio:.1f}"
    )
    assert measured_s < WITHIN_S
    assert ratio < AT_MOST
