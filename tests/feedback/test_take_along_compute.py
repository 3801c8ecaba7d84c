"""Which frames are taken along, and when each is shown, against the plain way of finding out."""

from __future__ import annotations

import json
import uuid
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedback.compute.take_along import (
    NOT_HERE,
    RATES,
    ClipClock,
    Kind,
    Spec,
    SpecWrong,
    film_frames,
    film_ticks,
    row_frames,
    spec_of,
)

VIEWS = [str(uuid.UUID(int=n)) for n in range(1, 6)]

uneven = st.lists(st.integers(1, 9000), min_size=1, max_size=80).map(
    lambda steps: np.concatenate([[0], np.cumsum(steps)]).astype(np.int64)
)


@st.composite
def clocks(draw: Any) -> ClipClock:
    return ClipClock(
        zero_s=draw(st.floats(-5, 5, allow_subnormal=False)),
        rate=1 + draw(st.integers(-900, 900)) * 1e-6,
        first_ticks=draw(st.integers(0, 900_000)),
        ticks=draw(uneven),
    )


def told(**other: Any) -> dict[str, Any]:
    usual = {"kind": Kind.STILL, "clips": (VIEWS[0],), "names": ("Deck",)}
    return {**usual, "from_frame": 7, "to_frame": 7, **other}


@st.composite
def specs(draw: Any) -> Spec:
    kind, begin = draw(st.sampled_from(Kind)), draw(st.integers(0, 900))
    views = draw(st.integers(1, 4)) if kind is Kind.FILM else 1
    return Spec(
        kind=kind,
        clips=tuple(VIEWS[:views]),
        names=tuple(draw(st.text(max_size=20)) for _ in range(views)),
        from_frame=begin,
        to_frame=begin if kind is Kind.STILL else begin + draw(st.integers(11, 500)),
        count=draw(st.integers(3, 12)) if kind is Kind.ROW else 1,
        rate=draw(st.sampled_from(list(RATES))) if kind is Kind.FILM else "1",
        drawings=kind is not Kind.FILM and draw(st.booleans()),
        named=draw(st.booleans()),
    )


@given(specs())
def test_what_was_asked_for_comes_back_from_json(spec: Spec) -> None:
    stored = json.loads(json.dumps({**spec.to_json(), "at_s": [1.0, 2.0]}))
    assert spec_of(stored) == spec


@pytest.mark.parametrize(
    "wrong",
    [
        {"to_frame": 8},
        {"count": 3},
        {"rate": "1/2"},
        {"clips": (VIEWS[0], VIEWS[1]), "names": ("Deck", "Side")},
        {"names": ()},
        {"from_frame": -1, "to_frame": -1},
        {"kind": Kind.ROW, "count": 3, "to_frame": 8},
        {"kind": Kind.ROW, "count": 2, "to_frame": 50},
        {"kind": Kind.ROW, "count": 13, "to_frame": 50},
        {"kind": Kind.ROW, "count": 3, "to_frame": 5},
        {"kind": Kind.FILM},
        {"kind": Kind.FILM, "to_frame": 50, "rate": "1/3"},
        {"kind": Kind.FILM, "to_frame": 50, "drawings": True},
        {"kind": Kind.FILM, "to_frame": 50, "clips": tuple(VIEWS), "names": tuple("abcde")},
        {"kind": Kind.FILM, "to_frame": 50, "clips": (VIEWS[0],) * 2, "names": ("a", "b")},
    ],
)
def test_what_cannot_be_made_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(SpecWrong):
        Spec(**told(**wrong))


@pytest.mark.parametrize(
    "changed",
    [
        {"kind": "poster"},
        {"clips": ["not an id"]},
        {"clips": "x"},
        {"names": [3]},
        {"from_frame": "7"},
        {"from_frame": 7.0},
        {"named": 1},
        {"count": True},
        {"rate": None},
    ],
)
def test_what_is_stored_otherwise_is_not_read(changed: dict[str, Any]) -> None:
    stored = Spec(**told()).to_json()
    assert spec_of(stored)
    with pytest.raises(SpecWrong):
        spec_of({**stored, **changed})
    with pytest.raises(SpecWrong):
        spec_of([stored])


# --- rows -------------------------------------------------------------------------------------


@given(uneven, st.data())
def test_a_row_stands_at_equal_steps_of_time(ticks: Any, data: Any) -> None:
    begin = data.draw(st.integers(0, len(ticks) - 1))
    end = data.draw(st.integers(begin, len(ticks) - 1))
    count = data.draw(st.integers(3, 12))
    if end - begin + 1 < count:
        return
    frames = row_frames(ticks, begin, end, count)
    assert frames[0] == begin and frames[-1] == end and len(frames) <= count
    assert all(b > a for a, b in zip(frames, frames[1:], strict=False))
    within = ticks[begin : end + 1]
    for step in range(count):
        at = ticks[begin] + (ticks[end] - ticks[begin]) * step / (count - 1)
        nearest = np.abs(within - at).min()
        assert min(abs(ticks[frame] - at) for frame in frames) == pytest.approx(nearest)


def test_even_frames_give_as_many_stills_as_were_asked_for() -> None:
    ticks = np.arange(200) * 1500
    for count in range(3, 13):
        frames = row_frames(ticks, 20, 119, count)
        assert len(frames) == count
        assert max(np.diff(frames)) - min(np.diff(frames)) <= 1


# --- films ------------------------------------------------------------------------------------


def plainly(clock: ClipClock, at_s: float) -> set[int]:
    """Frames whose span holds an instant, asked one by one; both at an edge, to rounding."""
    near = 1e-7
    found = {
        frame
        for frame in range(len(clock.ticks))
        if clock.begins_s(frame) - near <= at_s < clock.ends_s(frame) + near
    }
    edges = (clock.begins_s(0), clock.ends_s(len(clock.ticks) - 1))
    outside = at_s < edges[0] + near or at_s >= edges[1] - near
    return found | ({NOT_HERE} if outside else set())


@given(st.lists(clocks(), min_size=1, max_size=4))
def test_each_view_shows_the_frame_that_holds_the_leading_frames_middle(
    views: list[ClipClock],
) -> None:
    last = len(views[0].ticks) - 1
    frames = film_frames(views, 0, last)
    assert frames[:, 0].tolist() == list(range(last + 1))  # every leading frame, once
    for frame, row in enumerate(frames):
        middle = (views[0].begins_s(frame) + views[0].ends_s(frame)) / 2
        assert middle == pytest.approx(views[0].middle_s(frame), abs=1e-9)
        for view, found in zip(views[1:], row[1:], strict=True):
            assert int(found) in plainly(view, middle)
    for column in frames.T:  # time never runs back
        there = column[column != NOT_HERE]
        assert (np.diff(there) >= 0).all()


@given(uneven, st.sampled_from(list(RATES.values())), st.data())
def test_a_films_times_are_the_leading_views_stretched(ticks: Any, slower: int, data: Any) -> None:
    begin = data.draw(st.integers(0, len(ticks) - 2))
    end = data.draw(st.integers(begin + 1, len(ticks) - 1))
    at = film_ticks(ticks, begin, end, slower)
    assert at[0] == 0 and len(at) == end - begin + 1
    assert np.diff(at).tolist() == [step * slower for step in np.diff(ticks[begin : end + 1])]


def test_one_frame_has_a_length_too() -> None:
    clock = ClipClock(0.0, 1.0, 0, np.array([0]))
    assert clock.frame_of(0.0) == 0 and clock.frame_of(0.039) == 0
    assert clock.frame_of(0.041) == clock.frame_of(-0.001) == NOT_HERE
    with pytest.raises(ValueError, match="no clock"):
        ClipClock(0.0, 1.0, 0, np.array([], dtype=np.int64))
