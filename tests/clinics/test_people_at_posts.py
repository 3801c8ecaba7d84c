"""People at posts: who may hold what, visitors whose time ends by itself, dives shared out."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from clinics.actions import people_at_posts_acts as acts
from clinics.actions.close_clinic import close_clinic
from clinics.actions.errors import BadInput
from clinics.actions.people_at_posts import AtPosts, people_at_posts
from clinics.actions.people_at_posts_visits import (
    asked_again,
    invite_visitor,
    stay_until,
    usual_end,
)
from clinics.actions.venue import put_venue
from clinics.compute.posts import PostFindingKind
from clinics.models import Clinic, Consent, Duty
from portal.actions.people import end_membership
from portal.models import AuditEntry, Membership, OutboxMail, User
from tests.cast import Cast, make_clinic, make_entry, make_station

pytestmark = pytest.mark.django_db
VISITOR = "edda.varga@quillmoor.example"


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """In thirty days; somebody films under water, and the deck camera is carried."""
    cast.clinic.date = timezone.now().date() + dt.timedelta(days=30)
    cast.clinic.save()
    cast.clinic.stations.filter(slug="underwater").update(fixed_mount=False)
    deck = make_station(cast.clinic, 3, "deck", "Deck", "deck")
    deck.fixed_mount = False
    deck.save()
    return cast.clinic


def put(clinic: Clinic, user: User, post: str, by: User) -> Duty:
    return acts.put_at_post(clinic=clinic, user_id=user.pk, post=post, by=by)


def kinds(now: AtPosts) -> set[str]:
    found = {one.kind.value for one in now.findings}
    return found - {PostFindingKind.MISSING.value}


def refused(clinic: Clinic, user: User, post: str, by: User) -> str:
    with pytest.raises(BadInput) as caught:
        put(clinic, user, post, by)
    return " ".join(caught.value.lines())


# --- posts ----------------------------------------------------------------------------------------


def test_posts_follow_from_the_stations(clinic: Clinic) -> None:
    now = people_at_posts(clinic)
    assert [line.key for line in now.lines] == [
        "starter",
        "logger",
        "marshal",
        "camera:start-side",
        "operator:underwater",
        "watcher:underwater",
        "camera:deck",
        "checker",
        "lifeguard",
    ]
    assert [str(duty.user) for line in now.lines for duty in line.duties] == ["Jun Sorley"]
    # the starter; logger, marshal and the standing camera; under water, watcher, deck: five
    assert (now.people.least, now.people.named, now.people.short) == (5, 0, 5)
    clinic.stations.update(fixed_mount=True)
    keys = [line.key for line in people_at_posts(clinic).lines]
    assert "camera:underwater" in keys and "watcher:underwater" not in keys


def test_somebody_is_put_at_a_post_once_and_taken_off(cast: Cast, clinic: Clinic) -> None:
    duty = put(clinic, cast.crew, "camera:deck", cast.admin)
    assert put(clinic, cast.crew, "camera:deck", cast.admin).pk == duty.pk
    assert (duty.kind, duty.station) == ("camera", clinic.stations.get(slug="deck"))
    assert people_at_posts(clinic).people.named == 1
    for _ in range(2):
        acts.take_off_post(clinic=clinic, duty_id=duty.pk, by=cast.admin)
    assert people_at_posts(clinic).people.named == 0
    done = AuditEntry.objects.filter(action__startswith="duty.").values_list("action", flat=True)
    assert list(done) == ["duty.put", "duty.take-off"]


@pytest.mark.parametrize(
    ("has", "new", "why"),
    [
        ("camera:deck", "logger", "walks along a wet deck"),
        ("starter", "marshal", "looks at the lane"),
        ("operator:underwater", "watcher:underwater", "under water can do nothing else"),
        ("watcher:underwater", "camera:start-side", "looks only after whoever is under water"),
    ],
)
def test_what_one_person_cannot_do_at_once_is_refused_with_the_reason(
    cast: Cast, clinic: Clinic, has: str, new: str, why: str
) -> None:
    put(clinic, cast.crew, has, cast.admin)
    assert why in refused(clinic, cast.crew, new, cast.admin)
    put(clinic, cast.coach, new, cast.admin)  # somebody else can


def test_what_goes_together_is_allowed_and_a_lot_is_said(cast: Cast, clinic: Clinic) -> None:
    for post in ("logger", "marshal", "checker"):
        put(clinic, cast.crew, post, cast.admin)
    assert kinds(people_at_posts(clinic)) == {"a-lot"}


def test_lifeguard_of_the_venue_sheet_holds_nothing_else(cast: Cast, clinic: Clinic) -> None:
    assert "venue sheet" in refused(clinic, cast.crew, "lifeguard", cast.admin)
    put(clinic, cast.coach, "logger", cast.admin)
    put_venue(clinic=clinic, values={"lifeguard": "petra  voss"}, by=cast.admin)
    now = people_at_posts(clinic)
    assert now.lines[-1].lifeguard and "lifeguard" not in [line.key for line in now.missing()]
    told = refused(clinic, cast.crew, "starter", cast.admin)
    assert "the lifeguard watches the water" in told
    put_venue(clinic=clinic, values={"lifeguard": "Ines Aldana"}, by=cast.admin)
    assert kinds(people_at_posts(clinic)) == {"lifeguard-elsewhere"}


def test_camera_at_no_station_is_said_until_one_is_named(cast: Cast, clinic: Clinic) -> None:
    Duty.objects.create(clinic=clinic, user=cast.crew, kind="camera")
    now = people_at_posts(clinic)
    assert kinds(now) == {"not-needed"} and [duty.user for duty in now.loose] == [cast.crew]
    put(clinic, cast.crew, "camera:deck", cast.admin)
    assert Duty.objects.get(clinic=clinic, kind="camera").station is not None
    clinic.stations.filter(slug="start-side").update(kind="underwater", fixed_mount=False)
    Duty.objects.filter(clinic=clinic, kind="camera").update(station=None)
    assert not people_at_posts(clinic).loose  # there is but one camera left


def test_only_who_works_for_the_club_on_the_day_gets_a_post(cast: Cast, clinic: Clinic) -> None:
    for person in (cast.tomas, cast.other_coach):
        assert "does not work for the club" in refused(clinic, person, "logger", cast.admin)
    Membership.objects.filter(user=cast.crew).update(until_date=timezone.now().date())
    assert "does not work for the club" in refused(clinic, cast.crew, "logger", cast.admin)
    for person in (cast.coach, cast.crew, cast.other_admin):
        with pytest.raises(PermissionDenied):
            put(clinic, cast.coach, "logger", person)
    assert "no such post" in refused(clinic, cast.coach, "camera:roof", cast.admin)


def test_closed_clinic_keeps_who_did_what(cast: Cast, clinic: Clinic) -> None:
    close_clinic(clinic=clinic, by=cast.admin)
    assert "closed" in refused(clinic, cast.crew, "logger", cast.admin)
    duty = clinic.duties.get()
    with pytest.raises(BadInput):
        acts.take_off_post(clinic=clinic, duty_id=duty.pk, by=cast.admin)
    with pytest.raises(BadInput):
        invite_visitor(clinic=clinic, email=VISITOR, name="E", role="coach", by=cast.admin)


# --- dives ----------------------------------------------------------------------------------------


def test_dives_count_passes_and_are_shared_between_two(cast: Cast, clinic: Clinic) -> None:
    """A go of 75 m in 25 m goes by mid-pool three times (geometry.py)."""
    clinic.distance_m = 75.0
    clinic.save()
    second = clinic.lane_groups.create(name="B", order=2)
    for n in range(4):
        entry = make_entry(clinic, f"Swimmer {n}", 20 + n, None, "")
        entry.lane_group = second
        entry.save()
    assert people_at_posts(clinic).dives[0].dives.nobody
    for person in (cast.coach, cast.crew):
        put(clinic, person, "operator:underwater", cast.admin)
    station = people_at_posts(clinic).dives[0]
    assert (station.each_go, station.swimmers) == (3, 7)
    told = {station.names[one.person]: one.dives for one in station.dives.divers}
    assert told == {"Ines Aldana": 9, "Petra Voss": 12}
    acts.set_most_dives(clinic=clinic, most_each=10, by=cast.admin)
    clinic.refresh_from_db()
    over = [one.over for one in people_at_posts(clinic).dives[0].dives.divers]
    assert over == [0, 2]
    acts.set_most_dives(clinic=clinic, most_each=None, by=cast.admin)
    with pytest.raises(BadInput):
        acts.set_most_dives(clinic=clinic, most_each=0, by=cast.admin)


def test_fixed_mount_needs_no_dive(clinic: Clinic) -> None:
    clinic.stations.update(fixed_mount=True)
    assert people_at_posts(clinic).dives == []


# --- visitors -------------------------------------------------------------------------------------


def visit(clinic: Clinic, by: User, **said: Any) -> Membership:
    usual = {"email": VISITOR, "name": "Edda Varga", "role": "coach"}
    return invite_visitor(clinic=clinic, by=by, **usual | said)


def seen_by(user: User) -> set[Any]:
    return set(Clinic.objects.visible_to(user).values_list("pk", flat=True))


def test_visitor_ends_by_itself(cast: Cast, clinic: Clinic) -> None:
    """Closing is expected two weeks after the clinic (tasks_ahead.py); a coach has two more."""
    coach = visit(clinic, cast.admin)
    assert coach.user == cast.other_coach
    assert coach.until_date == clinic.date + dt.timedelta(days=28)
    crew = visit(clinic, cast.admin, email="new@quillmoor.example", name="New", role="crew")
    assert crew.until_date == clinic.date + dt.timedelta(days=14) == usual_end(clinic, "crew")
    assert crew.from_date == timezone.now().date()
    assert OutboxMail.objects.count() == 2
    assert clinic.pk in seen_by(crew.user)
    yesterday = timezone.now().date() - dt.timedelta(days=1)
    Membership.objects.filter(pk=crew.pk).update(from_date=yesterday, until_date=yesterday)
    assert clinic.pk not in seen_by(crew.user)


def test_visit_is_not_for_admins_and_not_for_ever(cast: Cast, clinic: Clinic) -> None:
    for wrong in (
        {"role": "admin"},
        {"until": clinic.date - dt.timedelta(days=1)},
        {"until": clinic.date + dt.timedelta(days=366)},
    ):
        with pytest.raises(BadInput):
            visit(clinic, cast.admin, **wrong)
    with pytest.raises(PermissionDenied):
        visit(clinic, cast.coach)
    assert not Membership.objects.filter(user=cast.other_coach, club=cast.harbour).exists()


def test_inviting_shortens_nobodys_time(cast: Cast, clinic: Clinic) -> None:
    own = cast.coach.memberships.get()
    had = visit(clinic, cast.admin, email=cast.coach.email)
    assert (had.from_date, had.until_date) == (own.from_date, None)
    assert not OutboxMail.objects.exists()
    longer = clinic.date + dt.timedelta(days=60)
    first = visit(clinic, cast.admin, until=longer)
    begun = timezone.now().date() - dt.timedelta(days=40)
    Membership.objects.filter(pk=first.pk).update(from_date=begun)
    again = visit(clinic, cast.admin)
    assert (again.from_date, again.until_date) == (begun, longer)
    most = longer + dt.timedelta(days=5)
    again = visit(clinic, cast.admin, until=most)
    assert (again.from_date, again.until_date) == (begun, most)


def test_visitor_of_long_ago_begins_anew(cast: Cast, clinic: Clinic) -> None:
    first = visit(clinic, cast.admin)
    long_ago = {"from_date": dt.date(2020, 3, 1), "until_date": dt.date(2020, 4, 1)}
    Membership.objects.filter(pk=first.pk).update(**long_ago)
    earlier = make_clinic(cast.harbour, "earlier", "Earlier")
    Clinic.objects.filter(pk=earlier.pk).update(date=dt.date(2023, 3, 20))
    again = visit(clinic, cast.admin)
    assert again.from_date == timezone.now().date()
    coached = Clinic.objects.coached_by(cast.other_coach).filter(club=cast.harbour)
    assert [row.pk for row in coached] == [clinic.pk]  # what was filmed between stays unseen


def test_last_day_can_be_moved_until_an_admin_ends_it(cast: Cast, clinic: Clinic) -> None:
    row = visit(clinic, cast.admin)
    later = clinic.date + dt.timedelta(days=50)
    assert stay_until(clinic=clinic, membership=row, until=later, by=cast.admin).until_date == later
    with pytest.raises(PermissionDenied):
        permanent = cast.coach.memberships.get()
        stay_until(clinic=clinic, membership=permanent, until=later, by=cast.admin)
    Membership.objects.filter(pk=row.pk).update(from_date=dt.date(2020, 1, 1))
    row.refresh_from_db()
    end_membership(membership=row, by=cast.admin)
    with pytest.raises(BadInput, match="ended by an admin"):
        stay_until(clinic=clinic, membership=row, until=later, by=cast.admin)
    assert visit(clinic, cast.admin).until_date == clinic.date + dt.timedelta(days=28)


def test_refused_post_invites_nobody(cast: Cast, clinic: Clinic) -> None:
    put_venue(clinic=clinic, values={"lifeguard": "Edda Varga"}, by=cast.admin)
    said = {"email": VISITOR, "name": "Edda Varga", "role": "coach"}
    with pytest.raises(BadInput):
        acts.invite_at_post(clinic=clinic, by=cast.admin, post="starter", **said)
    assert not Membership.objects.filter(user=cast.other_coach, club=cast.harbour).exists()
    assert not OutboxMail.objects.exists()
    put_venue(clinic=clinic, values={"lifeguard": ""}, by=cast.admin)
    acts.invite_at_post(clinic=clinic, by=cast.admin, post="starter", **said)
    assert clinic.duties.filter(user=cast.other_coach, kind="starter").exists()


def test_who_agreed_before_a_checker_was_named_is_asked_again(cast: Cast, clinic: Clinic) -> None:
    names = {"club": "x", "controller": cast.harbour.name, "checkers": ["Jun Sorley"], "team": []}
    assert asked_again(clinic) == 0  # agreed to no text with names in it
    Consent.objects.filter(swimmer=cast.swims["tomas"].entry.swimmer).update(names=names)
    assert asked_again(clinic) == 0
    put(clinic, cast.crew, "checker", cast.admin)
    assert asked_again(clinic) == 1
