"""Who does what as a page: what is said in words, what is refused and stays on the screen."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.people_at_posts_acts import put_at_post
from clinics.actions.people_at_posts_visits import invite_visitor
from clinics.models import Clinic, Duty
from portal.models import Membership, OutboxMail
from tests.cast import Cast, make_member, make_station, make_user, sign_in

pytestmark = pytest.mark.django_db
VISITOR = "edda.varga@quillmoor.example"


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


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


def url(clinic: Clinic, name: str = "people") -> str:
    return reverse(f"clinics:{name}", args=[clinic.pk])


def page(client: Client, clinic: Clinic) -> str:
    return " ".join(client.get(url(clinic)).content.decode().split())


def test_everybody_of_the_team_reads_it_and_the_admin_alone_changes_it(
    cast: Cast, clinic: Clinic
) -> None:
    read = page(sign_in(Client(), cast.crew), clinic)
    assert "It takes at least 5 people during the hour" in read
    assert "5 people short" in read and "Jun Sorley" in read
    assert "@harbourlane.example" not in read and "<select" not in read
    client = sign_in(Client(), cast.admin)
    changes = page(client, clinic)
    assert changes.count("<select") == 8 + 2  # each post but the lifeguard's; role and post
    said = {"post": "logger", "person": str(cast.crew.pk)}
    assert client.post(url(clinic, "people-put"), said).status_code == 302
    assert "Petra Voss (Logger)" in page(client, clinic)
    duty = clinic.duties.get(kind="logger")
    client.post(url(clinic, "people-take-off"), {"duty": str(duty.pk)})
    assert not clinic.duties.filter(kind="logger").exists()


def test_excluded_posts_are_refused_on_the_page_with_the_reason(cast: Cast, clinic: Clinic) -> None:
    put_at_post(clinic=clinic, user_id=cast.crew.pk, post="camera:deck", by=cast.admin)
    client = sign_in(Client(), cast.admin)
    said = {"post": "logger", "person": str(cast.crew.pk)}
    answer = client.post(url(clinic, "people-put"), said)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Petra Voss" in text and "cannot hold “Logger” beside “Camera, Deck”" in text
    for wrong in ({}, {"post": "logger", "person": "x"}):
        assert client.post(url(clinic, "people-put"), wrong).status_code == 422
    assert not clinic.duties.filter(kind="logger").exists()


def test_findings_are_said_in_words_with_reasons(cast: Cast, clinic: Clinic) -> None:
    deck, water = (clinic.stations.get(slug=slug) for slug in ("deck", "underwater"))
    for kind, station in (
        ("logger", None),
        ("camera", deck),
        ("operator", water),
        ("watcher", water),
    ):
        Duty.objects.create(clinic=clinic, user=cast.crew, kind=kind, station=station)
    Duty.objects.create(clinic=clinic, user=cast.coach, kind="watcher", station=deck)
    Duty.objects.create(clinic=clinic, user=cast.other_coach, kind="marshal")
    text = page(sign_in(Client(), cast.crew), clinic)
    assert "Petra Voss is under water and cannot be the one who watches" in text
    assert "cannot hold both “Logger” and “Camera, Deck”: the deck camera walks" in text
    assert "Ines Aldana stands at “Watcher of the underwater operator, Deck”" in text
    assert "Edda Varga does not work for the club on the day" in text
    assert "name not known yet" in text


def test_checker_who_ends_before_the_clinic_is_closed_is_said(cast: Cast, clinic: Clinic) -> None:
    Membership.objects.filter(user=cast.checker).update(until_date=clinic.date)
    text = page(sign_in(Client(), cast.admin), clinic)
    assert "Jun Sorley checks, but ends before the clinic is expected to be closed" in text
    assert text.count("ends on") == 2  # at the post, and among the visitors


def test_visitor_is_invited_to_a_post_and_stays_longer(cast: Cast, clinic: Clinic) -> None:
    client = sign_in(Client(), cast.admin)
    said = {"email": VISITOR, "name": "Edda Varga", "role": "coach", "post": "starter"}
    early = client.post(url(clinic, "people-invite"), {**said, "until": "2020-01-01"})
    assert early.status_code == 422 and 'value="Edda Varga"' in early.content.decode()
    assert client.post(url(clinic, "people-invite"), said).status_code == 302
    row = Membership.objects.get(user=cast.other_coach, club=cast.harbour)
    assert clinic.duties.get(kind="starter").user == cast.other_coach
    mail = OutboxMail.objects.get()
    assert mail.to == VISITOR and "It ends by itself after" in mail.body
    later = clinic.date + dt.timedelta(days=40)
    stay = {"membership": str(row.pk), "until": later.isoformat()}
    assert client.post(url(clinic, "people-until"), stay).status_code == 302
    row.refresh_from_db()
    assert row.until_date == later
    for wrong in ({**stay, "until": ""}, {**stay, "until": "2020-01-01"}):
        assert client.post(url(clinic, "people-until"), wrong).status_code == 422
    permanent = {**stay, "membership": str(cast.coach.memberships.get().pk)}
    assert client.post(url(clinic, "people-until"), permanent).status_code == 404


def test_dives_are_said_and_held_against_what_was_agreed(cast: Cast, clinic: Clinic) -> None:
    """A go of 50 m in 25 m goes by mid-pool twice (geometry.py); three swimmers."""
    client = sign_in(Client(), cast.admin)
    assert "nobody to dive" in page(client, clinic)
    put_at_post(clinic=clinic, user_id=cast.crew.pk, post="operator:underwater", by=cast.admin)
    client.post(url(clinic, "people-dives"), {"most_each": "4"})
    text = page(client, clinic)
    assert "One go passes here 2 times: 6 dives for 3 swimmers." in text
    assert "Petra Voss: 6 dives, group A; at most 6 before a group’s rest" in text
    assert "2 more than agreed" in text
    wrong = client.post(url(clinic, "people-dives"), {"most_each": "0"})
    assert wrong.status_code == 422
    client.post(url(clinic, "people-dives"), {"most_each": ""})
    clinic.refresh_from_db()
    assert clinic.most_dives_each is None


@pytest.mark.parametrize("many", [1, 3])
def test_page_takes_as_many_queries_for_three_of_each_as_for_one(
    cast: Cast, clinic: Clinic, many: int, django_assert_num_queries: Any
) -> None:
    for n in range(many):
        user = make_user(f"helper{n}@harbourlane.example", f"Helper {n}")
        make_member(cast.harbour, user, "crew")
        put_at_post(clinic=clinic, user_id=user.pk, post="operator:underwater", by=cast.admin)
        said = {"email": f"visitor{n}@quillmoor.example", "name": f"Visitor {n}", "role": "crew"}
        invite_visitor(clinic=clinic, by=cast.admin, **said)
    client = sign_in(Client(), cast.admin)
    client.get(url(clinic))
    with django_assert_num_queries(21):
        assert f"Visitor {many - 1}" in client.get(url(clinic)).content.decode()
