"""What makes the demo show a spread: the swims of the commonest kind are given, and their swimmers
agree but for one of another stroke."""

from __future__ import annotations

import pytest

from clinics.management.demo.cast import AUTUMN_SWIMMERS
from clinics.management.demo_consent import DOES_NOT_COUNT, answer_in_demo
from clinics.models import Entry, Swim
from feedback.actions.measured import measured_of
from feedback.actions.spread import among_others
from feedback.compute.measuring.spread import LEAST
from feedback.management.demo_spread import give_who_swam_alike
from feedback.models import Mark
from tests.cast import Cast
from tests.feedback.spread_group import group


def test_enough_of_the_demo_swam_alike_and_who_says_no_did_not() -> None:
    alike = [one for one in AUTUMN_SWIMMERS if (one.stroke, one.start) == ("freestyle", "block")]
    assert len(alike) - 1 >= LEAST
    assert AUTUMN_SWIMMERS[DOES_NOT_COUNT] not in alike


@pytest.mark.django_db
def test_the_commonest_kind_is_given_and_shows_a_spread(cast: Cast) -> None:
    others = group(cast, 5)
    Entry.objects.filter(pk=cast.swims["wren"].entry_id).update(stroke="backstroke")
    Swim.objects.filter(entry__clinic=cast.clinic).update(given_at=None, given_by=None)
    for swim in others:
        swim.entry.swimmer.consents.exclude(purpose="film-and-review").delete()
    answer_in_demo(cast.clinic, admin=cast.admin)
    given = [give_who_swam_alike(clinic=cast.clinic, by=cast.coach) for _ in range(2)]
    assert given == [6, 0]
    assert Swim.objects.get(pk=cast.swims["wren"].pk).given_at is None
    own = Swim.objects.select_related("entry__swimmer", "entry__clinic__club").get(
        pk=cast.swims["tomas"].pk
    )
    found = among_others(own, measured_of(own, Mark.objects.all()))
    assert found and all(one.spread is not None for one in found)
