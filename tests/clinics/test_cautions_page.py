"""The page of cautions: who reads it, what is put down of whoever has, and when again."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinics.actions.cautions import (
    State,
    acknowledge,
    has_read,
    reading_of,
    topics_of,
)
from clinics.actions.errors import BadInput
from clinics.actions.venue import put_venue
from clinics.models import CautionRead, Clinic, Duty, Entry
from portal.models import AuditEntry, User
from tests.cast import Cast, make_member, make_user, sign_in
from tests.clinics.test_venue import SHEET


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def url(clinic: Clinic) -> str:
    return reverse("clinics:cautions", args=[clinic.pk])


def fresh(clinic: Clinic) -> Clinic:
    return Clinic.objects.get(pk=clinic.pk)


def shown(clinic: Clinic, *keys: str) -> dict[str, str]:
    """Topics with the hashes that stand on the page now; without keys all."""
    now = {topic.key: topic.sha256 for topic in topics_of(fresh(clinic))}
    return {key: now[key] for key in keys or now}


def read_all(clinic: Clinic, by: User) -> None:
    acknowledge(clinic=clinic, read=shown(clinic), by=by)


def post(cast: Cast, kind: str, user: User, **more: Any) -> Duty:
    return Duty.objects.create(clinic=cast.clinic, user=user, kind=kind, **more)


def page(user: User, clinic: Clinic) -> str:
    return sign_in(Client(), user).get(url(clinic)).content.decode()


# --- “I have read this” -------------------------------------------------------------------------


def test_named_person_puts_down_what_they_have_read(cast: Cast) -> None:
    for user in (cast.crew, cast.coach, cast.admin, cast.checker):
        sent = [f"{key}:{sha256}" for key, sha256 in shown(cast.clinic, "start", "deck").items()]
        done = sign_in(Client(), user).post(url(cast.clinic), {"read": sent})
        assert done.status_code == 302
    rows = CautionRead.objects.filter(clinic=cast.clinic, user=cast.crew)
    assert {(row.topic, row.name) for row in rows} == {
        ("start", "Petra Voss"),
        ("deck", "Petra Voss"),
    }
    record = AuditEntry.objects.filter(action="cautions.read", actor_id=cast.crew.pk).get()
    assert "Petra" not in record.text


def test_reading_twice_puts_down_nothing_more(cast: Cast) -> None:
    read_all(cast.clinic, cast.crew)
    count = CautionRead.objects.count()
    read_all(cast.clinic, cast.crew)
    assert CautionRead.objects.count() == count
    assert AuditEntry.objects.filter(action="cautions.read").count() == 1
    row = CautionRead.objects.first()
    assert row is not None
    with pytest.raises(IntegrityError), transaction.atomic():
        CautionRead.objects.create(
            clinic=row.clinic, topic=row.topic, text_sha256=row.text_sha256, user=row.user, name="x"
        )


def test_words_that_have_changed_are_not_taken_as_read(cast: Cast) -> None:
    before = shown(cast.clinic, "start", "deck")
    put_venue(clinic=cast.clinic, values=SHEET, by=None)
    with pytest.raises(BadInput) as told:
        acknowledge(clinic=fresh(cast.clinic), read=before, by=cast.crew)
    assert [where for where, _sentence in told.value.errors] == ["Before anyone dives"]
    assert not CautionRead.objects.exists()


@pytest.mark.parametrize("read", [{}, {"start": "0" * 64}, {"under-the-sea": "0" * 64}])
def test_nothing_or_nonsense_is_refused(cast: Cast, read: dict[str, str]) -> None:
    with pytest.raises(BadInput):
        acknowledge(clinic=cast.clinic, read=read, by=cast.crew)
    sent = [f"{key}:{sha256}" for key, sha256 in read.items()]
    refused = sign_in(Client(), cast.crew).post(url(cast.clinic), {"read": sent})
    assert refused.status_code == 422
    assert "Nothing was put down" in refused.content.decode()


def test_person_without_a_name_gives_it_first(cast: Cast) -> None:
    nameless = make_user("new.hand@harbourlane.example", "")
    make_member(cast.harbour, nameless, "crew")
    client = sign_in(Client(), nameless)
    text = client.get(url(cast.clinic)).content.decode()
    assert "Say your name first" in text
    assert text.count("<button>I have read this") == 0
    sent = {"read": [f"{key}:{sha}" for key, sha in shown(cast.clinic, "deck").items()]}
    refused = client.post(url(cast.clinic), sent)
    assert refused.status_code == 422
    assert "Say your name" in refused.content.decode()
    assert not CautionRead.objects.exists()
    client.post(url(cast.clinic), sent | {"name": "  Odile   Marsh "})
    nameless.refresh_from_db()
    assert nameless.name == "Odile Marsh"
    assert CautionRead.objects.get().name == "Odile Marsh"


def test_name_of_somebody_who_has_one_is_not_changed_here(cast: Cast) -> None:
    acknowledge(clinic=cast.clinic, read=shown(cast.clinic, "deck"), by=cast.crew, name="Other")
    cast.crew.refresh_from_db()
    assert (cast.crew.name, CautionRead.objects.get().name) == ("Petra Voss", "Petra Voss")


def test_closed_clinic_takes_nothing_more(cast: Cast) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    with pytest.raises(BadInput):
        acknowledge(clinic=cast.clinic, read=shown(cast.clinic), by=cast.crew)
    assert "I have read this" not in page(cast.crew, cast.clinic)


# --- who has read what --------------------------------------------------------------------------


def test_who_holds_a_post_and_has_not_read_is_named(cast: Cast) -> None:
    post(cast, "starter", cast.coach)
    post(cast, "operator", cast.crew, station=cast.underwater)
    read_all(cast.clinic, cast.crew)
    acknowledge(clinic=cast.clinic, read=shown(cast.clinic, "deck"), by=cast.coach)
    reading = reading_of(fresh(cast.clinic))
    assert [reader.name for reader in reading.missing] == [cast.coach.name]
    states = {one.topic.key: one.state for one in reading.missing[0].topics}
    assert states == {
        "start": State.NOT_READ,
        "under-water": State.NOT_READ,
        "deck": State.READ,
        "mains": State.NOT_READ,
        "cold": State.NOT_READ,
    }
    text = page(cast.admin, cast.clinic)
    assert "1 person at a post has something still to read" in text
    assert cast.coach.name in text and "Petra Voss" in text


def test_checker_alone_has_nothing_to_read_and_others_stand_apart(cast: Cast) -> None:
    reading = reading_of(cast.clinic)
    assert (reading.at_posts, reading.others) == ((), ())
    read_all(cast.clinic, cast.checker)
    reading = reading_of(fresh(cast.clinic))
    assert (reading.at_posts, [one.user for one in reading.others]) == ((), [cast.checker])
    assert "Nobody holds a post of the pool hour yet" in page(cast.admin, cast.clinic)


def test_changed_depth_is_read_again_and_the_rest_is_not(cast: Cast) -> None:
    post(cast, "logger", cast.crew)
    read_all(cast.clinic, cast.crew)
    assert has_read(fresh(cast.clinic), cast.crew) is State.READ
    put_venue(clinic=cast.clinic, values={"depth_profile": [[0, 1.2], [6, 1.2]]}, by=None)
    assert has_read(fresh(cast.clinic), cast.crew) is State.CHANGED
    (reader,) = reading_of(fresh(cast.clinic)).missing
    assert [(one.topic.key, one.state) for one in reader.open] == [("start", State.CHANGED)]
    assert "read it again" in page(cast.crew, cast.clinic)
    read_all(cast.clinic, cast.crew)
    assert has_read(fresh(cast.clinic), cast.crew) is State.READ
    assert CautionRead.objects.filter(user=cast.crew, topic="start").count() == 2


def test_reader_of_another_clinic_has_not_read_here(cast: Cast) -> None:
    read_all(cast.other_clinic, cast.other_admin)
    assert has_read(cast.clinic, cast.other_admin) is State.NOT_READ
    assert reading_of(cast.clinic).others == ()


# --- the page -------------------------------------------------------------------------------------


def test_page_sets_the_depth_beside_limits_and_defers(cast: Cast) -> None:
    put_venue(clinic=cast.clinic, values=SHEET, by=None)
    Entry.objects.filter(clinic=cast.clinic).update(start="edge")
    text = page(cast.coach, cast.clinic)
    depths = [float(one) for one in re.findall(r'<b class="figures">([\d.]+) m</b>', text)]
    assert depths == sorted(depths, reverse=True)
    assert depths[0] == 2.74
    assert "The edge is 0.3 m above the water." in text
    assert "swimming.org/learntoswim" in text
    assert "The depth here is below" in text
    assert "They make nothing safe" in text


def test_page_of_starts_in_the_water_has_no_limits(cast: Cast) -> None:
    Entry.objects.filter(clinic=cast.clinic).update(start="water")
    text = page(cast.coach, cast.clinic)
    assert "A start in the water is not head first" in text
    assert "strictest first" not in text


@pytest.mark.parametrize("name", ["clinic-plan", "start-log"])
def test_short_form_stands_where_starts_are_and_says_whether_it_was_read(
    cast: Cast, name: str
) -> None:
    client = sign_in(Client(), cast.checker)
    place = reverse(f"clinics:{name}", args=[cast.clinic.pk])
    before = client.get(place).content.decode()
    assert "Sidelane cannot say that a start is safe." in before
    assert url(cast.clinic) in before
    assert "You have not read all of them yet" in before
    read_all(cast.clinic, cast.checker)
    assert "You have read them" in client.get(place).content.decode()


def test_short_form_asks_once_while_nothing_is_read(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    clinic = fresh(cast.clinic)
    with django_assert_num_queries(1):
        has_read(clinic, cast.crew)
    read_all(cast.clinic, cast.crew)
    clinic = fresh(cast.clinic)
    with django_assert_num_queries(5):
        has_read(clinic, cast.crew)


def test_page_takes_as_many_queries_for_one_reader_and_for_three(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    client = sign_in(Client(), cast.admin)
    post(cast, "starter", cast.coach)
    read_all(cast.clinic, cast.coach)
    client.get(url(cast.clinic))
    clinic = fresh(cast.clinic)
    with django_assert_num_queries(5):  # sheet, stations, starts, posts, readings
        reading_of(clinic)
    with CaptureQueriesContext(connection) as one:
        client.get(url(cast.clinic))
    for kind, user in (("operator", cast.crew), ("watcher", cast.checker)):
        post(cast, kind, user, station=cast.underwater)
        read_all(cast.clinic, user)
    with django_assert_num_queries(len(one)):
        client.get(url(cast.clinic))
    clinic = fresh(cast.clinic)
    with django_assert_num_queries(5):
        reading_of(clinic)
