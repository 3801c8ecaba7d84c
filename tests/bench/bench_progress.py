"""A club's progress page: one swimmer's 40 swims with 60 marks each, against a plain list.

The plain list is the same swims and marks, fetched without any fence and put into rows of text,
in the same run, turn by turn; the best of several rounds. `-s` prints it.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.models import Swim
from feedback.models import Mark
from tests.cast import Cast, build_cast, make_recording, sign_in
from tests.feedback.marked_swims import mark_swim
from tests.feedback.measuring.swims import TRUTH, E
from tests.feedback.said import another_go
from tests.feedback.two_swims import EARLIER, earlier_clinic, enter, film, swim_of

SWIMS, MARKS, ROUNDS = 40, 60, 5
AT_MOST, AT_MOST_QUERIES = 8.0, 12

# more strokes, until there are 60 marks: the second length's at a shorter distance
EVENTS = (
    *TRUTH,
    *((E.HAND_ENTRY, 24.4 + 0.66 * n, None, "deck") for n in range(MARKS - len(TRUTH))),
)

pytestmark = [pytest.mark.bench, pytest.mark.slow]


@pytest.fixture
def cast(db: None, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    return build_cast()


def swims_of_one(cast: Cast) -> list[Swim]:
    clinic = earlier_clinic(cast)
    station = film(cast, clinic, "start-side", EARLIER).station
    recording = make_recording(station, cast.crew, zero_at=EARLIER, frames=100)
    first = swim_of(cast, enter(clinic, cast.swims["tomas"].entry.swimmer))
    swims = [first, *(another_go(first, number) for number in range(2, SWIMS + 1))]
    for number, swim in enumerate(swims):
        mark_swim(swim, recording, cast.coach, slower_s=0.01 * number, truth=EVENTS)
    return swims


def plain(swims: list[Swim]) -> Callable[[], int]:
    keys = [swim.pk for swim in swims]

    def listed() -> int:
        told = list(Swim.objects.filter(pk__in=keys).select_related("entry__clinic"))
        marks = Mark.objects.filter(swim__in=keys).select_related("recording__clock_fit")
        rows = [f"{swim.start_at} {swim.entry.stroke}" for swim in told]
        rows += [f"{mark.kind} {mark.pts_ticks} {mark.distance_m}" for mark in marks]
        return len(rows)

    return listed


def best_s(*acts: Callable[[], Any]) -> list[float]:
    best = [float("inf")] * len(acts)
    for _round in range(ROUNDS):
        for n, act in enumerate(acts):
            began = time.perf_counter()
            act()
            best[n] = min(best[n], time.perf_counter() - began)
    return best


def test_forty_swims_cost_a_bounded_share_of_a_plain_list(cast: Cast) -> None:
    swims = swims_of_one(cast)
    listed = plain(swims)
    assert listed() == SWIMS * (MARKS + 1)
    client, url = sign_in(Client(), cast.tomas), reverse("feedback:my-progress")
    with CaptureQueriesContext(connection) as asked:
        body = client.get(url).content.decode()
    queries = len(asked)  # the next request forgets them
    assert f"{SWIMS} swims with measures" in body
    assert queries <= AT_MOST_QUERIES
    page_s, list_s = best_s(lambda: client.get(url), listed)
    told = f"page {page_s:.3f} s, plain list {list_s:.3f} s, ratio {page_s / list_s:.1f}"
    print(f"\n{told}, {queries} queries")
    assert page_s <= AT_MOST * list_s, told
