"""What the start log's page asks its server: how it stands, the time, to take in what is stored."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any
from unittest.mock import patch

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone, translation

from clinics.models import Clinic, Consent, Entry, PoolHour, StartLogEntry
from portal.models import User
from tests.cast import Cast, sign_in
from tests.clinics.phone_tools import SimPhone, at, enter

JSON = {"accept": "application/json"}


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    Entry.objects.filter(clinic=cast.clinic).update(order=500)  # they have swum: last
    enter(cast.clinic, range(101, 105))
    return cast.clinic


@pytest.fixture
def phone() -> SimPhone:
    phone = SimPhone("phone-of-liv", name="Liv, start side")
    phone.exchange(-30)
    return phone


def state(client: Client, clinic: Clinic, phone: SimPhone | None = None) -> dict[str, Any]:
    asked = {"phone": phone.key} if phone else {}
    url = reverse("clinics:start-log-state", args=[clinic.pk])
    answer = client.get(url, asked, headers=JSON)
    assert (answer.status_code, answer["Cache-Control"]) == (200, "no-store")
    return dict(answer.json())


def post(client: Client, clinic: Clinic, body: object) -> Any:
    url = reverse("clinics:start-log-sync", args=[clinic.pk])
    text = body if isinstance(body, str | bytes) else json.dumps(body)
    return client.post(url, text, content_type="application/json", headers=JSON)


def test_what_was_sent_is_told_in_the_state(cast: Cast, clinic: Clinic, phone: SimPhone) -> None:
    client = sign_in(Client(), cast.crew)
    tapped, back = phone.tap(60, 101, note="wet goggles"), phone.tap(150, 102)
    phone.undo(back)
    answer = post(client, clinic, phone.body())
    assert (answer.status_code, answer["Cache-Control"]) == (200, "no-store")
    told = answer.json()
    assert set(told) == {"kept", "refused", "phone", "conflicts", "csrf"}
    assert set(told["kept"]) == {tapped, back} and told["refused"] == []
    assert told["phone"]["state"] == "measured" and abs(told["phone"]["ahead_ms"]) < 50
    log = {line["client_id"]: line for line in state(client, clinic, phone)["log"]}
    assert abs(log[tapped].pop("instant_ms") - phone.wall_ms(60)) < 50
    assert 0 < log[tapped].pop("u_ms") < 50
    assert log[tapped] == {
        "client_id": tapped,
        "number": 101,
        "outcome": "away",
        "note": "wet goggles",
        "clock": "measured",
        "doubtful": False,
        "undone": False,
        "phone": "Liv, start side",
        "mine": True,
    }
    assert log[back]["undone"] is True
    assert not any(line["mine"] for line in state(client, clinic)["log"])


def test_state_tells_who_is_next_and_nobody_of_another_clinic(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    Consent.objects.filter(swimmer__name="Swimmer 104").delete()
    client = sign_in(Client(), cast.crew)
    phone.tap(60, 101)
    phone.tap(100, 102, "skipped")
    phone.tap(110, 103, "no-show")
    phone.wish(120, 101, "second-go")
    post(client, clinic, phone.body())
    told = state(client, clinic)
    assert told["next_up"] == [104, 102, 101]  # passed over after the rest; a second go at the end
    assert [one["number"] for one in told["entries"]] == [103, 1, 2, 3, 104, 102, 101]
    last = next(one for one in told["entries"] if one["number"] == 104)
    assert last.pop("agrees_at_ms") == told["now_ms"]
    assert last == {
        "number": 104,
        "name": "Swimmer 104",
        "group": 1,
        "group_name": "A",
        "how": "freestyle, from the block",
        "agrees": False,
    }
    assert told["clinic"] == {
        "id": str(clinic.pk),
        "name": clinic.name,
        "zone": "Europe/Dublin",
        "closed": False,
        "course_m": 25,
        "distance_m": 50,
    }
    assert [one["name"] for one in told["stations"]] == ["Start side", "Underwater 12.5 m"]
    assert "Kit Maddern" not in json.dumps(told) and "@" not in json.dumps(told)


def test_state_follows_the_pool_hour_once_there_is_one(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    PoolHour.objects.create(clinic=clinic, begins=dt.time(10))
    client = sign_in(Client(), cast.crew)
    phone.tap(60, 101)
    phone.wish(200, 101, "second-go")
    post(client, clinic, phone.body())
    with patch("django.utils.timezone.now", return_value=at(210)):
        told = state(client, clinic)
    assert told["next_up"] == [102, 103, 104, 101]  # once more, when rested
    assert [one["number"] for one in told["entries"]] == [1, 2, 3, 102, 103, 104, 101]


def test_conflicts_and_station_words_are_told_in_the_readers_language(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    client = sign_in(Client(), cast.crew)
    ida = SimPhone("phone-of-ida", name="Ida")
    ida.exchange(-30)
    phone.tap(60, 101)
    ida.tap(61, 102)
    ida.stored["station_words"].append(
        {
            "client_id": "word-0001",
            "station": str(cast.underwater.pk),
            "state": "battery",
            "wall_ms": ida.wall_ms(70),
        }
    )
    post(client, clinic, phone.body())
    (conflict,) = post(client, clinic, ida.body()).json()["conflicts"]
    assert (conflict["kind"], conflict["numbers"]) == ("too-close", [101, 102])
    assert conflict["settled"] is False and len(conflict["client_ids"]) == 2
    assert "Numbers 101 (Liv, start side) and 102 (Ida)" in conflict["words"]
    told = state(client, clinic)
    assert told["conflicts"] == [conflict]
    (word,) = told["words_of_stations"]
    assert (word["station"], word["state"]) == (str(cast.underwater.pk), "battery")
    with translation.override("fr"):
        post(client, clinic, ida.body())


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        (b"\xff\xfe", 400, "not what the start log"),
        ("", 400, "not what the start log"),
        ("[]", 400, "not what the start log"),
        ('{"phone": {"key": NaN}}', 400, "not what the start log"),
        ("[" * 100_000, 400, "not what the start log"),
        ("{}", 400, "no good key"),
        ({"phone": {"key": "short"}}, 400, "no good key"),
        ({"phone": {"key": "phone-of-liv"}, "lines": {}}, 400, "must be a list"),
        ({"phone": {"key": "phone-of-liv"}, "undone": ["a"] * 2001}, 413, "in parts"),
        ({"phone": {"key": "phone-of-liv"}, "lines": ["x" * 2_200_000]}, 413, "in parts"),
    ],
)
def test_what_no_phone_sends_gets_a_sentence(
    cast: Cast, clinic: Clinic, body: object, status: int, words: str
) -> None:
    answer = post(sign_in(Client(), cast.crew), clinic, body)
    assert answer.status_code == status
    assert any(words in sentence for sentence in answer.json()["errors"])
    assert not clinic.phones.exists()


def test_signed_out_is_told_so_and_led_nowhere(clinic: Clinic, phone: SimPhone) -> None:
    """An expired sign-in clears nothing: the phone sees that, and keeps what it has."""
    phone.tap(60, 101)
    assert post(Client(), clinic, phone.body()).status_code == 401
    url = reverse("clinics:start-log-state", args=[clinic.pk])
    assert Client().get(url, headers=JSON).status_code == 401
    assert Client().get(url).status_code == 401
    assert not StartLogEntry.objects.filter(clinic=clinic).exists()


def test_without_the_token_nothing_is_taken(cast: Cast, clinic: Clinic, phone: SimPhone) -> None:
    client = sign_in(Client(enforce_csrf_checks=True), cast.crew)
    url = reverse("clinics:start-log-sync", args=[clinic.pk])
    text = json.dumps(phone.body())
    assert client.post(url, text, content_type="application/json").status_code == 403
    token = state(client, clinic)["csrf"]
    headers = {"x-csrftoken": token}
    done = client.post(url, text, content_type="application/json", headers=headers)
    assert done.status_code == 200
    headers = {"x-csrftoken": done.json()["csrf"]}
    again = client.post(url, text, content_type="application/json", headers=headers)
    assert again.status_code == 200


def test_closed_clinic_is_absent(cast: Cast, clinic: Clinic, phone: SimPhone) -> None:
    Clinic.objects.filter(pk=clinic.pk).update(state="closed", closed_at=timezone.now())
    client = sign_in(Client(), cast.crew)
    assert post(client, clinic, phone.body()).status_code == 404
    url = reverse("clinics:start-log-state", args=[clinic.pk])
    assert client.get(url, headers=JSON).status_code == 404


def test_clock_tells_when_it_was_asked_and_when_it_answered(cast: Cast, clinic: Clinic) -> None:
    url = reverse("clinics:start-log-clock", args=[clinic.pk])
    before = timezone.now().timestamp() * 1000
    answer = sign_in(Client(), cast.crew).get(url)
    told, after = answer.json(), timezone.now().timestamp() * 1000
    assert before <= told["received_ms"] <= told["answered_ms"] <= after
    assert told["now_ms"] == told["answered_ms"] and answer["Cache-Control"] == "no-store"


# --- how much is asked of the database ------------------------------------------------------------


def taps(phone: SimPhone, count: int) -> None:
    for place in range(count):
        phone.tap(60 + 90 * place, 101 + place)


@pytest.mark.parametrize("count", [1, 3])
def test_state_takes_as_many_queries_for_many_lines(
    cast: Cast, clinic: Clinic, phone: SimPhone, count: int, django_assert_num_queries: Any
) -> None:
    client = sign_in(Client(), cast.crew)
    taps(phone, count)
    post(client, clinic, phone.body())
    state(client, clinic)
    with django_assert_num_queries(STATE_QUERIES):
        state(client, clinic)


@pytest.mark.parametrize("count", [1, 3])
def test_sync_takes_as_many_queries_for_many_lines(
    crew_alone: tuple[User, Clinic], phone: SimPhone, count: int, django_assert_num_queries: Any
) -> None:
    crew, clinic = crew_alone
    client = sign_in(Client(), crew)
    post(client, clinic, phone.body())
    taps(phone, count)
    locks = int(connection.vendor == "postgresql")  # of the audit trail
    with django_assert_num_queries(SYNC_QUERIES + locks):
        post(client, clinic, phone.body())


@pytest.fixture
def crew_alone(cast: Cast, clinic: Clinic) -> tuple[User, Clinic]:
    """Nothing is filmed yet, so nothing is asked to be aligned."""
    for recording in cast.recordings.values():
        recording.__class__.objects.filter(pk=recording.pk).update(state="failed")
    return cast.crew, clinic


STATE_QUERIES, SYNC_QUERIES = 12, 34
