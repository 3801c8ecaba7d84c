"""The lane strip's geometry and its drawing with a text twin."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest
from django.conf import settings
from django.template import Context, Template
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from portal.compute.lane_strip import (
    TICKS_AT_MOST,
    Instant,
    Lane,
    Span,
    lay_out,
    rows_without_overlap,
    share,
)

LANE = Lane(
    begin_s=0.0,
    end_s=40.0,
    walls=(Instant(20.0, "turn"), Instant(0.0, "start")),
    bars=(Span(13.2, 19.4, "Underwater", "u1"), Span(0.0, 6.0, "Start side", "s1")),
    pins=(Instant(16.4, key="c1"),),
    leaves_s=40.0,
    now_s=10.0,
)


def test_places_are_shares_of_the_length() -> None:
    drawing = lay_out(LANE)
    assert [wall.x for wall in drawing.walls] == [0.0, 50.0]
    assert [(bar.key, bar.x, bar.width) for bar in drawing.bars] == [
        ("s1", 0.0, 15.0),
        ("u1", 33.0, 15.5),
    ]
    assert (drawing.cap_x, drawing.ladder_x, drawing.pins[0].x) == (25.0, 100.0, 41.0)


@pytest.mark.parametrize(("begin_s", "end_s"), [(3.0, 3.0), (5.0, 2.0), (0.0, float("inf"))])
def test_a_lane_without_length_is_an_error(begin_s: float, end_s: float) -> None:
    with pytest.raises(ValueError, match="lane strip"):
        lay_out(Lane(begin_s=begin_s, end_s=end_s))


@given(
    st.floats(-1e4, 1e4),
    st.floats(0.01, 1e5),
    st.lists(st.tuples(st.floats(-2e4, 2e4), st.floats(0, 2e4)), max_size=12),
)
def test_nothing_stands_outside_the_strip(
    begin_s: float, length_s: float, spans: list[tuple[float, float]]
) -> None:
    bars = tuple(Span(start, start + length) for start, length in spans)
    drawing = lay_out(Lane(begin_s=begin_s, end_s=begin_s + length_s, bars=bars))
    for bar in drawing.bars:
        assert bar.x >= 0
        assert bar.width >= 0
        assert bar.x + bar.width <= 100.001
        assert 0 <= bar.row <= 3
    assert len(drawing.ticks) <= TICKS_AT_MOST + 1


@given(st.floats(0, 2e4), st.floats(0.01, 2e4))
def test_no_label_of_a_scale_stands_twice(begin_s: float, length_s: float) -> None:
    clock = lay_out(Lane(begin_s, begin_s + length_s, as_clock=True)).ticks
    day = lay_out(Lane(begin_s, begin_s + length_s, of_day=True)).ticks
    for labels in ([tick.clock() for tick in clock], [tick.time_of_day() for tick in day]):
        assert len(labels) == len(set(labels))


@given(st.floats(0, 100), st.floats(0, 100))
def test_later_is_never_further_left(one: float, other: float) -> None:
    lane = Lane(begin_s=-3.0, end_s=61.0)
    assert (share(lane, one) <= share(lane, other)) or one > other


def test_bars_that_overlap_get_rows_of_their_own() -> None:
    spans = [Span(0, 10), Span(1, 3), Span(2, 9), Span(4, 5), Span(10, 12)]
    assert rows_without_overlap(spans) == [0, 1, 2, 1, 0]


def draw(**options: object) -> str:
    template = Template("{% load lane_strip %}{% lane_strip lane 'Swim' interactive %}")
    return template.render(Context({"lane": LANE, "interactive": False, **options}))


def test_the_text_twin_tells_all_that_is_drawn_in_order() -> None:
    lines = [" ".join(line.split()) for line in re.findall(r"<li\b[^>]*>(.*?)</li>", draw(), re.S)]
    assert lines == [
        "0.0 s: at the wall, start",
        "0.0 to 6.0 s: in picture at Start side",
        "13.2 to 19.4 s: in picture at Underwater",
        "16.4 s: comment",
        "20.0 s: at the wall, turn",
        "40.0 s: out of the pool",
    ]


def test_the_words_are_closed_until_opened() -> None:
    assert not re.search(r"<details[^>]*\bopen\b", draw())
    empty = draw(lane=Lane(begin_s=0.0, end_s=4.0))
    assert re.search(r"<details[^>]*\bhidden\b", empty), "nothing to say: nothing to open"


def test_lines_name_what_a_script_goes_to() -> None:
    lane = Lane(0.0, 40.0, pins=(Instant(16.4, "Chin <up>", "c1"),), walls=(Instant(20.0),))
    with translation.override("fr"):  # a comma for decimals never gets into the places
        drawn = draw(lane=lane, interactive=True)
    found = re.findall(r'<li data-kind="(\w*)" data-key="(\w*)" data-at="([^"]*)"', drawn)
    assert found == [("pin", "c1", "16.4"), ("wall", "", "20.0")]
    assert "Chin &lt;up&gt;" in drawn and "<up>" not in drawn


def test_a_strip_is_a_slider_only_where_it_can_be_moved() -> None:
    assert 'role="slider"' not in draw()
    moved = draw(interactive=True)
    assert 'role="slider" tabindex="0"' in moved
    assert 'aria-valuenow="10.0"' in moved


def test_a_comma_for_decimals_never_gets_into_the_drawing() -> None:
    with translation.override("fr"):
        drawn = draw(interactive=True)
    places = re.findall(r' (?:x|width|x1|aria-value\w+)="([^"]*)"', drawn)
    assert places
    assert not [place for place in places if "," in place]


def test_no_style_and_no_script_stands_in_the_drawing() -> None:
    assert "style=" not in draw(interactive=True)
    assert "<script" not in draw(interactive=True)


def test_vendored_htmx_is_the_file_that_its_readme_names() -> None:
    folder = Path(settings.BASE_DIR) / "portal/static/portal/vendor/htmx"
    content = (folder / "htmx.min.js").read_bytes()
    readme = (folder / "README.md").read_text()
    assert hashlib.sha256(content).hexdigest() in readme
    assert f"({len(content)} bytes)" in readme
    assert (folder / "LICENSE").read_text().startswith("Zero-Clause BSD")
