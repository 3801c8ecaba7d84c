"""The demo shows a team at its posts, with visitors, dives and one post that is free."""

from __future__ import annotations

import datetime as dt

import pytest

from clinics.actions.people_at_posts import people_at_posts
from clinics.actions.tasks import tasks_of
from clinics.compute.posts import PostFindingKind
from clinics.compute.tasks_ahead import State
from clinics.management.demo_people import people_in_demo
from clinics.models import Clinic, Duty
from portal.models import Membership, OutboxMail
from tests.cast import Cast, make_station


@pytest.mark.parametrize("days", [-200, 0, 200])
def test_demo_has_its_people_whenever_it_is_made(cast: Cast, days: int) -> None:
    """Days from the cast's clinic to the one that is shown."""
    clinic = cast.clinic
    Clinic.objects.filter(pk=clinic.pk).update(date=clinic.date + dt.timedelta(days=days))
    clinic.refresh_from_db()
    make_station(clinic, 3, "turn-window", "Turn window", "turn-window")
    make_station(clinic, 4, "deck", "Deck", "deck")
    Duty.objects.create(clinic=clinic, user=cast.admin, kind="starter")
    Duty.objects.create(clinic=clinic, user=cast.crew, kind="logger")
    Duty.objects.create(clinic=clinic, user=cast.crew, kind="camera")
    for _twice in range(2):
        people_in_demo(clinic, admin=cast.admin)
    now = people_at_posts(clinic)
    assert [line.key for line in now.missing()] == ["camera:turn-window", "lifeguard"]
    assert not now.loose and now.people.short == 0
    wrong = {one.kind for one in now.findings} - {PostFindingKind.MISSING, PostFindingKind.A_LOT}
    assert not wrong
    assert len(now.dives[0].dives.divers) == 2
    visits = Membership.objects.filter(club=cast.harbour, until_date__isnull=False)
    assert visits.count() == 5 == OutboxMail.objects.count()
    assert visits.get(role="coach").until_date == clinic.date + dt.timedelta(days=28)
    due = [line.due for line in tasks_of(clinic)]
    assert all((one.state is State.DONE) == (one.day <= clinic.date) for one in due)
