"""At the pool: swimmers answer on a phone of the crew, which sends when it has a network."""

from __future__ import annotations

import datetime as dt
import json
import re
from typing import Any

import pytest
from django.core import signing
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.consent import end_consent
from clinics.actions.consent_pool import SALT, make_pass
from clinics.models import Consent, Purpose, Swimmer
from portal.models import Membership
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import FILM, GROUP, in_force, newcomer, with_texts


@pytest.fixture
def bela(cast: Cast) -> Swimmer:
    return newcomer(with_texts(cast))


def url(cast: Cast) -> str:
    return reverse("clinics:consent-pool", args=[cast.clinic.pk])


def answer(cast: Cast, **more: Any) -> dict[str, Any]:
    said = {
        "pass": make_pass(clinic=cast.clinic, by=cast.crew),
        "number": 9,
        "client_id": "phone-0001",
        "language": "en",
        "adult": "on",
        f"version-{FILM}": 1,
        f"version-{GROUP}": 1,
        FILM: "on",
    }
    return said | more


def send(client: Client, cast: Cast, **more: Any) -> Any:
    return client.post(url(cast), answer(cast, **more), headers={"accept": "application/json"})


def test_the_page_holds_all_that_is_needed_without_network(cast: Cast, bela: Swimmer) -> None:
    page = sign_in(Client(), cast.crew).get(url(cast)).content.decode()
    told = json.loads(
        re.search(r'id="consent-pool-entries" type="application/json">(.*?)</script>', page)[1]  # type: ignore[index]
    )
    by_number = {entry["number"]: entry for entry in told}
    assert set(by_number[9]) == {"number", "name", "asks"}
    assert FILM in by_number[9]["asks"] and FILM not in by_number[1]["asks"]
    assert "the checker, Jun Sorley," in page and page.count('type="checkbox"') == 1 + len(Purpose)
    assert not re.search(r'type="checkbox"[^>]*checked', page)
    assert "@harbourlane" not in page and "clip-files" not in page


def test_an_answer_sent_twice_is_kept_once_with_when_it_was_given(
    cast: Cast, bela: Swimmer
) -> None:
    client = sign_in(Client(), cast.crew)
    at = timezone.now() - dt.timedelta(minutes=40)
    for _ in range(2):
        assert send(client, cast, instant=at.isoformat()).status_code == 201
    kept = Consent.objects.get(swimmer=bela, purpose=FILM)
    assert (kept.method, kept.recorded_by, kept.given_at) == (Consent.Method.POOL, cast.crew, at)
    assert Consent.objects.filter(swimmer=bela).count() == 2 and in_force(bela) == {FILM}


def test_sending_later_needs_no_fresh_sign_in_but_making_ready_does(
    cast: Cast, bela: Swimmer
) -> None:
    client = sign_in(Client(), cast.crew, fresh=False)
    assert client.get(url(cast)).status_code == 303
    assert send(client, cast).status_code == 201 and in_force(bela) == {FILM}


def test_a_pass_of_somebody_else_or_of_another_clinic_is_worth_nothing(
    cast: Cast, bela: Swimmer
) -> None:
    client = sign_in(Client(), cast.crew)
    forged = signing.dumps([str(cast.clinic.pk), str(cast.crew.pk)], salt="other")
    for bad in (
        "",
        forged,
        make_pass(clinic=cast.other_clinic, by=cast.crew),
        make_pass(clinic=cast.clinic, by=cast.checker),
    ):
        assert send(client, cast, **{"pass": bad}).status_code == 403
    assert in_force(bela) == set()


def test_a_pass_ends(cast: Cast, bela: Swimmer, monkeypatch: pytest.MonkeyPatch) -> None:
    from django.core.signing import time

    now = time.time()
    said = answer(cast)
    monkeypatch.setattr("django.core.signing.time.time", lambda: now + 17 * 3600)
    client = sign_in(Client(), cast.crew)
    assert client.post(url(cast), said).status_code in {302, 403}
    assert in_force(bela) == set() and SALT


def test_who_works_there_no_more_sends_nothing(cast: Cast, bela: Swimmer) -> None:
    client = sign_in(Client(), cast.crew)
    Membership.objects.filter(user=cast.crew).update(until_date=dt.date(2026, 10, 2))
    assert send(client, cast).status_code == 404 and in_force(bela) == set()


def test_what_came_late_stands_behind_a_later_withdrawal(cast: Cast, bela: Swimmer) -> None:
    client = sign_in(Client(), cast.crew)
    send(client, cast)
    end_consent(swimmer=bela, purpose=FILM, by=cast.admin)
    at = timezone.now() - dt.timedelta(hours=1)
    assert send(client, cast, client_id="phone-0002", instant=at.isoformat()).status_code == 201
    assert in_force(bela) == set()


def test_a_phone_whose_clock_is_ahead_says_it_now(cast: Cast, bela: Swimmer) -> None:
    client = sign_in(Client(), cast.crew)
    ahead = timezone.now() + dt.timedelta(hours=3)
    send(client, cast, instant=ahead.isoformat())
    kept = Consent.objects.get(swimmer=bela, purpose=FILM)
    assert kept.given_at <= timezone.now()


def test_what_is_not_shown_is_not_answered(cast: Cast) -> None:
    """Tomas agrees to be filmed; an answer about the group leaves that alone."""
    with_texts(cast)
    tomas = cast.swims["tomas"].entry.swimmer
    said = answer(cast, number=1, **{GROUP: "on"})
    del said[f"version-{FILM}"], said[FILM]
    sign_in(Client(), cast.crew).post(url(cast), said)
    assert in_force(tomas) == {FILM, GROUP}


def test_it_works_without_a_script(cast: Cast, bela: Swimmer) -> None:
    client = sign_in(Client(), cast.crew)
    page = client.get(f"{url(cast)}?number=9").content.decode()
    assert "Bela Roan</h2>" in page
    fields = dict(re.findall(r'<input type="hidden" name="([\w-]+)" value="([^"]*)"', page))
    assert fields["number"] == "9" and fields[f"version-{FILM}"] == "1"
    told = client.post(url(cast), fields | {FILM: "on", "adult": "on"}, follow=True)
    assert in_force(bela) == {FILM} and "Hand the phone back" in told.content.decode()


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"number": 77}, "not in the running order"),
        ({"client_id": "x"}, "valid"),
        ({f"version-{FILM}": 5}, "no such version"),
        ({"instant": "2020-01-01T10:00:00+00:00"}, "clock of this phone is wrong"),
    ],
)
def test_what_is_not_taken_says_why(
    cast: Cast, bela: Swimmer, more: dict[str, Any], says: str
) -> None:
    told = send(sign_in(Client(), cast.crew), cast, **more)
    assert told.status_code == 422 and says in " ".join(told.json()["errors"])
    assert in_force(bela) == set()


def test_adults_only(cast: Cast, bela: Swimmer) -> None:
    Swimmer.objects.filter(pk=bela.pk).update(adult_attested_at=None)
    said = answer(cast)
    del said["adult"]
    client = sign_in(Client(), cast.crew)
    told = client.post(url(cast), said, headers={"accept": "application/json"})
    assert told.status_code == 422 and "18 or older" in told.json()["errors"][0]
    assert in_force(bela) == set()
