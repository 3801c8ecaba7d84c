"""The bench of the demo is covered once, however often the demo is made."""

from clinics.management.demo_masks import BENCH, cover_demo_bench
from clinics.models import StationMask
from portal.models import Job
from tests.cast import Cast, make_station


def test_the_bench_is_covered_once_and_only_on_the_deck(cast: Cast) -> None:
    deck = make_station(cast.clinic, 3, "deck", "Deck", "deck")
    for _time in range(2):
        cover_demo_bench(clinic=cast.clinic, by=cast.admin)
    mask = StationMask.objects.get()
    assert (mask.station, mask.left, mask.height) == (deck, BENCH.left, BENCH.height)
    assert not Job.objects.filter(kind="render-clip").exists()


def test_a_clinic_without_a_deck_has_no_bench(cast: Cast) -> None:
    cover_demo_bench(clinic=cast.clinic, by=cast.admin)
    assert not StationMask.objects.exists()
