"""The demo clinics as invented: who swims when, what is logged and heard. Nothing is drawn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.management.demo.motion import Go
from clinics.management.demo.occasions import CLINICS, DemoClinic
from clinics.management.demo.scenario import Scenario

AUTUMN, WINTER = "harbour-autumn", "harbour-winter"
CARD_AT_S = -4.5


@given(st.floats(18, 60), st.floats(0.9, 24.1), st.booleans(), st.integers(2, 4))
def test_place_and_pass_times_are_inverse(
    duration_s: float, x_m: float, water: bool, lengths: int
) -> None:
    go = Go(duration_s, "freestyle", from_water=water, lengths=lengths)
    passes_s = go.passes_s(x_m)
    walls_s = [0.0, *(turn.feet_touch_s for turn in go.turns), duration_s]
    assert len(passes_s) == lengths
    for pass_s, from_s, to_s in zip(passes_s, walls_s, walls_s[1:], strict=False):
        assert from_s < pass_s < to_s
        assert go.place_at(pass_s)[0] == pytest.approx(x_m, abs=1e-6)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("clinic", CLINICS.values(), ids=CLINICS)
def test_whole_clinic_is_a_usual_afternoon(clinic: DemoClinic, seed: int) -> None:
    scenario = Scenario(clinic, seed, short=False)
    starts_s = np.array([swim.start_s for swim in scenario.swims])
    gaps_s = np.diff(starts_s)
    assert gaps_s.std() > 2.0, "regular starts are no pattern"
    for swim, following in zip(scenario.swims, scenario.swims[1:], strict=False):
        assert following.start_s - swim.finish_s > 4.999, "one swimmer at a time"
    taps = [swim for swim in scenario.swims if swim.tap_s is not None]
    late_s = np.array([swim.tap_s - swim.start_s for swim in taps])  # type: ignore[operator]
    assert late_s.min() > -0.15 and late_s.max() < 0.95
    assert abs(np.median(late_s) - 0.2) < 0.15
    for recording in scenario.recordings:
        if not clinic.dated_files:
            assert recording.split_frame is None
        late = recording.station.begins_after_starts
        films = (recording.zero_s < starts_s).sum()
        assert films == len(starts_s) - late or recording.station.file_per_group


def test_autumn_misses_a_tap_and_hears_another_lane_and_winter_has_one_who_is_not_filmed() -> None:
    autumn, winter = (Scenario(CLINICS[slug], 1, short=False) for slug in (AUTUMN, WINTER))
    assert [s.swimmer.number for s in autumn.swims if s.tap_s is None] == [14]
    (practice,) = [one for one in autumn.emissions() if one.number is None]
    assert min(abs(practice.emitted_s - swim.start_s) for swim in autumn.swims) > 5
    assert all(one.number is not None for one in winter.emissions())
    (hidden,) = [s for s in winter.swims if not s.swimmer.filmed]
    assert hidden.go.posture_at(CARD_AT_S) is None, "no card is shown by who is not filmed"
    names = [swim.swimmer.name for swim in autumn.swims]
    assert names[:3] + names[6:9] == [
        "Tomas Birk", "Wren Okada", "Sol Hagen", "Liv Marchetti", "Oskar Brandt", "Noor Castellan",
    ]  # fmt: skip
