"""The consent board and the club's texts page: filter, table to take, asking in one act."""

from __future__ import annotations

import csv
import io

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.actions.consent import How, end_consent
from clinics.actions.consent_answers import take_answers
from clinics.actions.consent_ask import ask, find_request
from clinics.actions.consent_texts import default_text, texts_of
from clinics.models import Consent, ConsentRequest, ConsentText, Purpose
from portal.models import OutboxMail
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import FILM, GROUP, newcomer, next_version, with_texts, yes

LINK = How(method=Consent.Method.LINK)


def url(cast: Cast, name: str = "consent", *args: object) -> str:
    return reverse(f"clinics:{name}", args=[cast.clinic.pk, *args])


def shown(cast: Cast, which: str) -> list[list[str]]:
    """The table as it is taken along: number, name, lane group, asked, answered, to be filmed …"""
    answer = sign_in(Client(), cast.admin).get(f"{url(cast, 'consent-csv')}?show={which}")
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    return rows[1:]


def names(cast: Cast, which: str) -> list[str]:
    return [row[1] for row in shown(cast, which)]


def test_who_agrees_is_missing_said_no_or_must_be_asked_again(cast: Cast) -> None:
    with_texts(cast)
    newcomer(cast, "Bela Roan")
    ada = newcomer(cast, "Ada Noor", number=10)
    take_answers(swimmer=ada, answers=yes(no=(FILM,)), how=LINK)
    assert names(cast, "all") == ["Tomas Birk", "Wren Okada", "Sol Hagen", "Bela Roan", "Ada Noor"]
    assert names(cast, "agrees") == ["Tomas Birk", "Wren Okada"]
    assert names(cast, "missing") == ["Bela Roan"]
    assert names(cast, "no") == ["Sol Hagen", "Ada Noor"]
    assert names(cast, "again") == []
    next_version(cast)
    assert names(cast, "again") == ["Tomas Birk", "Wren Okada"]
    assert names(cast, "agrees") == ["Tomas Birk", "Wren Okada"]  # until they answer


def test_the_page_filters_as_the_table_does(cast: Cast) -> None:
    newcomer(with_texts(cast), "Bela Roan")
    client = sign_in(Client(), cast.admin)
    page = client.get(f"{url(cast)}?show=missing").content.decode()
    assert "Bela Roan" in page and "Tomas Birk" not in page
    assert "Tomas Birk" in client.get(f"{url(cast)}?show=whatever").content.decode()


def test_the_table_says_what_each_agreed_to_and_to_which_text(cast: Cast) -> None:
    """No cell is a formula."""
    bela = newcomer(with_texts(cast), "=Bela Roan")
    take_answers(swimmer=bela, answers=yes(FILM, no=(GROUP,)), how=LINK)
    row = next(row for row in shown(cast, "all") if row[0] == "9")
    assert row[1] == "'=Bela Roan"
    assert row[5] == "agrees" and row[6].startswith("20") and row[7] == "1"
    assert row[8] == "does not agree" and row[11] == "no answer yet"


def test_asking_is_one_act_for_all_who_have_to_answer(cast: Cast) -> None:
    with_texts(cast)
    newcomer(cast, "Bela Roan", "bela.roan@harbourlane.example")
    newcomer(cast, "Ada Noor", number=10)
    client = sign_in(Client(), cast.admin)
    page = client.post(url(cast, "consent-ask"), follow=True).content.decode()
    assert [mail.to for mail in OutboxMail.objects.all()] == ["bela.roan@harbourlane.example"]
    assert "Asked by mail: 1." in page and "ask in person: Ada Noor." in page
    assert names(cast, "asked") == ["Bela Roan"]
    assert "Tomas" not in str([mail.body for mail in OutboxMail.objects.all()])


def test_nobody_is_asked_before_there_is_a_text(cast: Cast) -> None:
    newcomer(cast, "Bela Roan", "bela.roan@harbourlane.example")
    page = sign_in(Client(), cast.admin).post(url(cast, "consent-ask"), follow=True)
    assert "Publish the texts first" in page.content.decode()
    assert not OutboxMail.objects.exists()


def test_who_withdrew_or_said_no_is_not_asked_again(cast: Cast) -> None:
    with_texts(cast)
    end_consent(swimmer=cast.swims["tomas"].entry.swimmer, purpose=FILM, by=cast.tomas)
    next_version(cast)
    sign_in(Client(), cast.admin).post(url(cast, "consent-ask"))
    assert [mail.to for mail in OutboxMail.objects.all()] == [cast.wren.email]


def test_a_link_to_hand_over_is_shown_once_and_ends_the_earlier(cast: Cast) -> None:
    bela = newcomer(with_texts(cast), email="bela.roan@harbourlane.example")
    ask(swimmers=[bela], clinic=cast.clinic, by=cast.admin)
    client = sign_in(Client(), cast.admin)
    page = client.post(url(cast, "consent-link", bela.entries.get().pk))
    body = page.content.decode()
    token = body.split("/consent/", 1)[1].split("/", 1)[0]
    found = find_request(token)
    assert found is not None and found.swimmer == bela and "data:image/svg+xml" in body
    assert ConsentRequest.objects.filter(ended_at__isnull=True).count() == 1
    assert "no-store" in page["Cache-Control"]
    assert token not in client.get(url(cast)).content.decode()


def test_the_number_of_queries_does_not_grow_with_the_swimmers(cast: Cast) -> None:
    with_texts(cast)
    client = sign_in(Client(), cast.admin)
    counts = []
    for more in (0, 3):
        for number in range(more):
            swimmer = newcomer(cast, f"Swimmer {number}", f"s{number}@q.example", 20 + number)
            take_answers(swimmer=swimmer, answers=yes(FILM, no=(GROUP,)), how=LINK)
        for name in ("consent", "consent-csv"):
            with CaptureQueriesContext(
                connection,
            ) as asked:
                client.get(url(cast, name))
            counts.append(len(asked))
    assert counts[:2] == counts[2:]


# --- the club's texts -------------------------------------------------------------------------


def texts_url(cast: Cast, name: str = "consent-texts", *args: object) -> str:
    return reverse(f"clinics:{name}", args=[cast.harbour.slug, *args])


def test_the_defaults_are_published_with_one_click(cast: Cast) -> None:
    client = sign_in(Client(), cast.admin)
    assert "Begin with plain default texts" in client.get(texts_url(cast)).content.decode()
    page = client.post(texts_url(cast, "consent-texts-begin"), follow=True).content.decode()
    assert ConsentText.objects.count() == 2 * len(Purpose) and "Begin with plain" not in page
    assert "the checker, Jun Sorley," in page


def test_editing_publishes_the_next_version_and_says_who_is_asked_again(cast: Cast) -> None:
    client = sign_in(Client(), with_texts(cast).admin)
    page = client.get(texts_url(cast, "consent-text", FILM)).content.decode()
    assert default_text(FILM, "fr").split("\n")[0] in page.replace("&#x27;", "'")
    told = {f"text-{lang}": default_text(FILM, lang) + "\n\nMore." for lang in ("en", "fr")}
    answer = client.post(texts_url(cast, "consent-text", FILM), told | {"ask_again": "on"})
    assert answer.status_code == 303 and texts_of(cast.harbour).version(FILM) == 2
    page = client.get(texts_url(cast)).content.decode()
    assert "2 swimmers must be asked again" in page
    client.post(texts_url(cast, "consent-ask-again"))
    assert {mail.to for mail in OutboxMail.objects.all()} == {cast.tomas.email, cast.wren.email}


def test_a_text_that_is_refused_stays_typed(cast: Cast) -> None:
    client = sign_in(Client(), with_texts(cast).admin)
    told = {"text-en": "I agree to {nothing}. {controller} {checker} {team}", "text-fr": "Oui."}
    answer = client.post(texts_url(cast, "consent-text", FILM), told)
    body = answer.content.decode()
    assert answer.status_code == 422 and "{nothing}" in body and "Oui." in body
    assert texts_of(cast.harbour).version(FILM) == 1


@pytest.mark.parametrize("who", ["coach", "crew", "tomas", "other_admin"])
def test_the_texts_page_is_for_the_clubs_admins(cast: Cast, who: str) -> None:
    client = sign_in(Client(), getattr(cast, who))
    assert client.get(texts_url(cast)).status_code == 404
