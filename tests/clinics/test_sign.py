"""Signing by a personal link, without an account and without footage."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.consent_ask import ask, find_request, make_link, token_hash
from clinics.models import Clip, Consent, ConsentRequest, Swimmer
from portal.actions.mail import deliver_mail
from portal.models import AuditEntry, OutboxMail
from tests.cast import Cast
from tests.clinics.consent_tools import (
    COACHES,
    COUNT,
    FILM,
    GROUP,
    PUBLISH,
    in_force,
    link_in,
    newcomer,
    next_version,
    with_texts,
)

SIGN = "/consent/"


@pytest.fixture
def bela(cast: Cast) -> Swimmer:
    return newcomer(with_texts(cast), email="bela.roan@harbourlane.example")


def opened(cast: Cast, swimmer: Swimmer) -> Client:
    """A browser in which the swimmer has opened the mail's link."""
    ask(swimmers=[swimmer], clinic=cast.clinic, by=cast.admin)
    client = Client()
    answer = client.get(link_in(OutboxMail.objects.latest("created_at")))
    assert (answer.status_code, answer["Location"]) == (303, SIGN)
    return client


def versions(*purposes: str, version: int = 1) -> dict[str, Any]:
    return {"language": "en"} | {f"version-{purpose}": version for purpose in purposes}


EVERY = (FILM, GROUP, COUNT, COACHES, PUBLISH)


def test_the_token_stands_in_the_first_url_only_and_hashed_in_the_database(
    cast: Cast, bela: Swimmer
) -> None:
    client = opened(cast, bela)
    mail = OutboxMail.objects.latest("created_at")
    token = link_in(mail).rstrip("/").rsplit("/", 1)[1]
    row = ConsentRequest.objects.get()
    assert row.token_hash == token_hash(token) and len(token) >= 40
    page = client.get(SIGN)
    assert token not in page.content.decode()
    assert page["Referrer-Policy"] == "no-referrer" and "no-store" in page["Cache-Control"]
    assert "noindex" in page["X-Robots-Tag"]
    assert not AuditEntry.objects.filter(text__contains=token).exists()
    deliver_mail(mail=mail)
    mail.refresh_from_db()
    assert token not in mail.body


def test_every_box_is_unticked_and_the_page_names_who_answers(cast: Cast, bela: Swimmer) -> None:
    page = opened(cast, bela).get(SIGN).content.decode()
    boxes = re.findall(r'<input type="checkbox"[^>]*>', page)
    assert len(boxes) == len(EVERY) and not any("checked" in box for box in boxes)
    assert "Bela Roan" in page and "Jun Sorley" in page and "Harbour Lane Masters" in page
    assert "clip-files" not in page and "Tomas" not in page and "<img" not in page


def test_answering_records_each_purpose_with_its_text(cast: Cast, bela: Swimmer) -> None:
    client = opened(cast, bela)
    answer = client.post(SIGN, versions(*EVERY) | {FILM: "on", COACHES: "on"})
    assert answer.status_code == 303
    assert in_force(bela) == {FILM, COACHES}
    rows = Consent.objects.filter(swimmer=bela)
    assert rows.count() == len(EVERY) and set(rows.values_list("method", flat=True)) == {"link"}
    assert all(row.text and row.clinic == cast.clinic and not row.recorded_by for row in rows)
    assert ConsentRequest.objects.get().answered_at is not None
    page = client.get(SIGN).content.decode()
    assert page.count(">Withdraw") == 2
    assert re.findall(r'type="checkbox" name="([\w-]+)"', page) == [GROUP, COUNT, PUBLISH]


def test_withdrawing_by_the_link_is_one_click_and_holds_at_once(cast: Cast) -> None:
    """On the next request."""
    tomas = cast.swims["tomas"].entry.swimmer
    with_texts(cast)
    client = opened(cast, tomas)
    clips = Clip.objects.filter(swim=cast.swims["tomas"])
    assert clips.visible_to(cast.coach).count() == 3
    client.post(reverse("clinics:sign-end"), {"purpose": FILM})
    assert in_force(tomas) == set() and clips.visible_to(cast.coach).count() == 0


def test_a_new_text_is_asked_by_an_empty_box(cast: Cast) -> None:
    tomas = cast.swims["tomas"].entry.swimmer
    with_texts(cast)
    next_version(cast)
    client = opened(cast, tomas)
    assert "You agreed to an earlier text" in client.get(SIGN).content.decode()
    client.post(SIGN, versions(FILM, version=2) | versions(*EVERY[1:]) | {FILM: "on"})
    current = Consent.objects.get(swimmer=tomas, purpose=FILM, ended_at__isnull=True)
    assert current.text is not None and current.text.version == 2


def test_nobody_younger_than_18_signs(cast: Cast, bela: Swimmer) -> None:
    Swimmer.objects.filter(pk=bela.pk).update(adult_attested_at=None)
    client = opened(cast, bela)
    told = versions(*EVERY) | {FILM: "on"}
    answer = client.post(SIGN, told)
    assert answer.status_code == 422 and "18 or older" in answer.content.decode()
    assert not Consent.objects.filter(swimmer=bela).exists()
    client.post(SIGN, told | {"adult": "on"})
    bela.refresh_from_db()
    assert in_force(bela) == {FILM} and bela.adult_attested_at is not None


def test_asked_for_no_clinic_the_text_names_the_checker_of_the_next(
    cast: Cast, bela: Swimmer
) -> None:
    client = Client()
    client.get(link_path(make_link(swimmer=bela, clinic=None, by=cast.admin)))
    assert "the checker, Jun Sorley," in client.get(SIGN).content.decode()


def link_path(link: str) -> str:
    return "/" + link.split("/", 3)[3]


def gone(client: Client) -> bool:
    return "This link has ended" in client.get(SIGN).content.decode()


def test_a_link_ends_by_itself_also_where_it_is_open(cast: Cast, bela: Swimmer) -> None:
    client = opened(cast, bela)
    assert not gone(client)
    ConsentRequest.objects.update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    assert gone(client)
    client.post(SIGN, versions(*EVERY) | {FILM: "on"})
    assert in_force(bela) == set()


def test_a_later_link_ends_the_earlier(cast: Cast, bela: Swimmer) -> None:
    client = opened(cast, bela)
    second = make_link(swimmer=bela, clinic=cast.clinic, by=cast.admin)
    assert gone(client)
    assert find_request(second.rstrip("/").rsplit("/", 1)[1]) is not None


def test_a_wrong_token_looks_like_one_that_ended(cast: Cast, bela: Swimmer) -> None:
    client = Client()
    answer = client.get("/consent/no-such-token/")
    assert (answer.status_code, answer["Location"]) == (303, SIGN) and gone(client)
    assert not AuditEntry.objects.filter(action="denied").exists()


def test_the_link_is_for_one_swimmer(cast: Cast, bela: Swimmer) -> None:
    """Its session reads the own receipts and nobody else's."""
    client = opened(cast, bela)
    client.post(SIGN, versions(*EVERY) | {FILM: "on"})
    own = Consent.objects.get(swimmer=bela, purpose=FILM)
    other = cast.swims["tomas"].entry.swimmer.consents.get()
    assert client.get(reverse("clinics:receipt", args=[own.pk])).status_code == 200
    assert client.get(reverse("clinics:receipt", args=[other.pk])).status_code == 404
    assert client.get(reverse("feedback:my-swims")).status_code in {302, 401}


# --- asking ---------------------------------------------------------------------------------------


def test_one_act_asks_all_who_have_an_address_and_says_who_has_none(
    cast: Cast, bela: Swimmer
) -> None:
    ada = newcomer(cast, "Ada Noor", number=10)
    asked = ask(swimmers=[bela, ada], clinic=cast.clinic, by=cast.admin)
    assert asked.mailed == [bela] and asked.no_address == [ada]
    mail = OutboxMail.objects.get()
    assert mail.to == bela.email and mail.secret
    assert "Bela Roan" in mail.body and "Autumn clinic" in mail.subject
    again = ask(swimmers=[bela], clinic=cast.clinic, by=cast.admin)
    assert again.lately == [bela] and OutboxMail.objects.count() == 1


def test_two_swimmers_of_one_address_get_a_link_each(cast: Cast, bela: Swimmer) -> None:
    ada = newcomer(cast, "Ada Noor", email=bela.email, number=10)
    ask(swimmers=[bela, ada], clinic=cast.clinic, by=cast.admin)
    mails = OutboxMail.objects.all()
    assert len({link_in(mail) for mail in mails}) == 2 and {m.to for m in mails} == {bela.email}


@pytest.mark.parametrize("who", ["coach", "crew", "tomas", "other_admin"])
def test_only_an_admin_asks(cast: Cast, bela: Swimmer, who: str) -> None:
    with pytest.raises(PermissionDenied):
        ask(swimmers=[bela], clinic=cast.clinic, by=getattr(cast, who))
    assert not ConsentRequest.objects.exists() and not OutboxMail.objects.exists()
