"""The aligner in the simulated hall, on a few seeds. `python -m tests.hall.many` runs many."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from clinics.compute.oneclock import place_all
from tests.hall.hall import make_hall
from tests.hall.judge import LOOK, NOT_FOUND, SURE, Judged, judge
from tests.hall.run import VARIANTS, align_and_judge, missed, summarise

pytestmark = pytest.mark.slow

SEEDS = (1, 2)
MORE_SEEDS = (3, 4, 5, 6)


def aligned(loudness: float, variant: str, seeds: tuple[int, ...] = SEEDS) -> Iterator[Judged]:
    for seed in seeds:
        yield align_and_judge(make_hall(seed, loudness=loudness, **VARIANTS[variant]))


@pytest.mark.parametrize("loudness", [1.5, 6.0])
def test_cameras_agree_within_milliseconds(loudness: float) -> None:
    """Median at most 2 ms and p95 at most 5 ms between cameras that hear half of the starts;
    starts within 5 ms; nothing wrong and sure."""
    summary = summarise(list(aligned(loudness, "plain")))
    assert missed(summary, loudness=loudness, many=False) == []
    assert summary.sure_share >= 0.75, "saying nothing does not pass"


@pytest.mark.long
@pytest.mark.parametrize("loudness", [1.5, 6.0])
def test_cameras_agree_in_more_halls(loudness: float) -> None:
    summary = summarise(list(aligned(loudness, "plain", MORE_SEEDS)))
    assert missed(summary, loudness=loudness, many=False) == []


def test_a_start_camera_that_makes_a_file_per_group() -> None:
    judged = list(aligned(1.5, "group files"))
    summary = summarise(judged)
    assert missed(summary, loudness=1.5, many=False) == []
    assert summary.sure_share >= 0.75
    assert all(len(one.states) >= 8 for one in judged), "six files and two cameras or more"


def test_practice_starts_with_the_same_signal_are_never_taken_for_starts_and_sure() -> None:
    summary = summarise(list(aligned(1.5, "practice")))
    assert summary.wrong == []


def test_by_the_log_of_another_clinic_nothing_is_sure() -> None:
    """Whose intervals have nothing to do with what was recorded: no start of it is heard.
    The cameras may still be placed against each other, for a person to look at."""
    hall, other = make_hall(1), make_hall(77, rate_hz=100)
    fit = place_all(*hall.inputs(other)).fit
    assert judge(hall, fit, own_log=False).wrong == []
    assert {one.state for one in fit.recordings.values()} <= {LOOK, NOT_FOUND}
    assert {swim.by for swim in fit.swims.values()} == {"tap"}


def test_slow_motion_asks_for_its_factor() -> None:
    hall = make_hall(2, loudness=6.0, slow_motion=(1, 4.0))
    fit = place_all(*hall.inputs()).fit
    slow = fit.recordings[hall.recordings[1].key]
    assert slow.state == NOT_FOUND
    assert "slow motion" in slow.reason.lower()
    others = [fit.recordings[hall.recordings[n].key].state for n in (0, 2)]
    assert others == [SURE, SURE], "the others are placed without it"


def test_slow_motion_whose_factor_was_told_is_placed() -> None:
    hall = make_hall(2, loudness=6.0, slow_motion=(1, 4.0))
    judged = judge(hall, place_all(*hall.inputs(slow_motion_told=True)).fit)
    assert judged.wrong == []
    assert judged.states[hall.recordings[1].key] == SURE
