"""What a station must bring: card, battery, kit.

Outside evidence: the recordable times in a consumer camcorder's manual (page 116 of its user
manual): a 64, 32 and 16 GB card hold 495, 245 and 120 minutes at “approx. 17 Mbit/s (average)”,
and 305, 150 and 75 at “max. 28 Mbit/s”, which averages less; FAT32's largest file is
4,294,967,295 bytes (infinitelexicon.com/FAT32 and others: 4 GB minus one byte). Reserves are
common practice, no source.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.errors import BadInput, Said
from clinics.compute.station_needs import (
    BIT_RATES,
    FAT32_MOST_BYTES,
    Enough,
    Thing,
    files_of,
    kit,
    marker_places_m,
    needs,
    recorded_min,
    size_gb,
    supplies,
)

KINDS = ("start-side", "underwater", "turn-window", "deck")
MINUTES = st.floats(min_value=1, max_value=600)
RATES = st.floats(min_value=1, max_value=200)
quick = settings(max_examples=60, deadline=None)


@pytest.mark.parametrize(
    ("card_gb", "minutes", "mbit_per_s"),
    [(64, 495, 17), (32, 245, 17), (16, 120, 17), (64, 305, 28), (32, 150, 28), (16, 75, 28)],
)
def test_card_sizes_as_a_manual_prints_their_minutes(
    card_gb: float, minutes: float, mbit_per_s: float
) -> None:
    assert size_gb(minutes, mbit_per_s) == pytest.approx(card_gb, rel=0.05)


def test_an_hour_at_17_mbit_per_s() -> None:
    """By hand: 3600 s * 17e6 / 8 = 7.65e9 bytes."""
    need = needs(minutes=60.0, mbit_per_s=17.0, card_reserve=1.0, battery_reserve=1.0)
    assert (need.card_gb, need.battery_min, need.files) == (pytest.approx(7.65), 60.0, 2)
    kept_back = needs(minutes=60.0, mbit_per_s=17.0)
    assert kept_back.card_gb == pytest.approx(7.65 * 1.25)
    assert kept_back.battery_min == 90.0
    assert kept_back.files == need.files, "a reserve is not recorded"


def test_files_end_at_fat32s_limit() -> None:
    assert FAT32_MOST_BYTES == 4_294_967_295
    full_min = 4_294_967_295 * 8 / 17e6 / 60  # 33.7 min
    assert files_of(full_min - 0.01, 17.0) == 1
    assert files_of(full_min + 0.01, 17.0) == 2
    assert files_of(2 * full_min + 0.02, 17.0, takes=2) == 4


def test_a_camera_runs_before_and_after_the_pool_hour() -> None:
    assert recorded_min(60.0) > 60.0
    assert recorded_min(45.0, before_min=2.0, after_min=3.0) == 50.0


@quick
@given(MINUTES, MINUTES, RATES, st.integers(min_value=1, max_value=20))
def test_longer_never_needs_less(minutes: float, more: float, rate: float, takes: int) -> None:
    one = needs(minutes=minutes, mbit_per_s=rate, takes=takes)
    two = needs(minutes=minutes + more, mbit_per_s=rate, takes=takes)
    assert one.card_gb < two.card_gb
    assert one.battery_min < two.battery_min
    assert takes <= one.files <= two.files
    assert one.files * FAT32_MOST_BYTES >= size_gb(minutes, rate) * 1e9 * (1 - 1e-12)


@quick
@given(MINUTES, RATES, st.floats(min_value=1, max_value=300))
def test_so_many_pieces_do_and_one_less_does_not(minutes: float, rate: float, each: float) -> None:
    for supply in supplies(needs(minutes=minutes, mbit_per_s=rate), card_gb=each, battery_min=each):
        assert supply.pieces * each >= supply.needed * (1 - 1e-12)
        assert (supply.pieces - 1) * each < supply.needed
        assert (supply.state is Enough.SHORT) == (supply.pieces > 1) == (supply.short > 0)
        assert math.isclose(supply.short, max(supply.needed - each, 0.0))


def test_what_nobody_said_is_named_so() -> None:
    card, battery = supplies(needs(minutes=60.0, mbit_per_s=17.0))
    assert (card.thing, battery.thing) == (Thing.CARD, Thing.BATTERY)
    for supply in (card, battery):
        assert (supply.state, supply.given, supply.pieces) == (Enough.NOT_SAID, None, 0)
    assert supplies(needs(minutes=60.0, mbit_per_s=17.0), card_gb=0.0)[0].state is Enough.NOT_SAID


def test_exactly_enough_is_enough() -> None:
    need = needs(minutes=60.0, mbit_per_s=17.0)
    card, battery = supplies(need, card_gb=need.card_gb, battery_min=need.battery_min)
    assert (card.state, card.pieces, battery.state) == (Enough.ENOUGH, 1, Enough.ENOUGH)


def test_numbers_that_cannot_be_meant_are_all_named() -> None:
    with pytest.raises(BadInput) as bad:
        needs(minutes=0.0, mbit_per_s=math.nan, takes=0, card_reserve=0.5, battery_reserve=99.0)
    named = [where for where, _sentence in bad.value.errors]
    assert named == ["minutes", "mbit_per_s", "takes", "card_reserve", "battery_reserve"]
    assert all(isinstance(sentence, Said) for _where, sentence in bad.value.errors)


def test_bit_rates_say_where_they_are_from() -> None:
    rates = {one.key: one.mbit_per_s for one in BIT_RATES}
    assert (rates["1080i"], rates["1080i-best"], rates["1080p60"]) == (17.0, 24.0, 28.0)
    assert all(one.source and isinstance(one.words, Said) for one in BIT_RATES)


@pytest.mark.parametrize(
    ("course_m", "places"),
    [
        (25.0, (5, 10, 15, 20)),
        (50.0, (5, 10, 15, 25, 40, 45)),
        (22.86, (5, 10, 12.86, 15, 17.86)),
        (5.0, ()),
    ],
)
def test_markers_stand_within_the_course(course_m: float, places: tuple[float, ...]) -> None:
    assert marker_places_m(course_m) == pytest.approx(places)


@pytest.mark.parametrize("kind", KINDS)
def test_every_station_brings_what_each_needs(kind: str) -> None:
    """Common practice, no source."""
    items = kit(kind)
    keys = [item.key for item in items]
    assert len(keys) == len(set(keys))
    assert {"tape-measure", "markers", "spare-battery", "spare-card", "lens-cloth"} <= set(keys)
    assert {"tripod", "monopod", "fixed-mount"} & set(keys)
    assert all(
        isinstance(words, Said) for item in items for words in (item.words, item.why or item.words)
    )
    assert not [item.key for item in items if "safe" in f"{item.words} {item.why}".lower()]
    assert [item.caution for item in items] == sorted(item.caution for item in items)


def test_the_start_camera_has_the_number_cards() -> None:
    assert [kind for kind in KINDS if "number-cards" in {i.key for i in kit(kind)}] == [
        "start-side"
    ]


def test_under_water_weights_are_on_the_mount_and_never_on_a_person() -> None:
    items = {item.key: item for item in kit("underwater")}
    assert {"housing", "o-ring", "fixed-mount", "mount-weights", "watcher"} <= set(items)
    ballast = items["mount-weights"]
    assert ballast.caution
    assert "on the mount" in ballast.words
    assert "never on a person" in ballast.words
    assert "never alone" in items["watcher"].words
    assert not {"housing", "o-ring", "mount-weights"} & {item.key for item in kit("deck")}
