"""My consent: a switch for each purpose, with what it changes and a receipt."""

from __future__ import annotations

from django.test import Client
from django.urls import reverse

from clinics.models import Clip, Consent, Purpose
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import COACHES, FILM, GROUP, in_force, next_version, with_texts

PAGE = "/my-consent/"


def url(cast: Cast, name: str, purpose: str = FILM, whose: str = "tomas") -> str:
    swimmer = cast.swims[whose].entry.swimmer
    return reverse(f"clinics:my-consent-{name}", args=[swimmer.pk, purpose])


def test_every_purpose_is_a_switch_with_what_it_changes(cast: Cast) -> None:
    page = sign_in(Client(), with_texts(cast).tomas).get(PAGE).content.decode()
    assert page.count('role="switch"') == len(Purpose) and page.count('aria-checked="true"') == 1
    assert "No other swimmer sees your clips." in page
    assert "I agree to be filmed at the clinics of Harbour Lane Masters" in page
    assert "Wren" not in page and "Kit" not in page


def test_before_there_are_texts_withdrawing_is_there_all_the_same(cast: Cast) -> None:
    client = sign_in(Client(), cast.tomas)
    assert client.get(PAGE).content.decode().count('aria-checked="true"') == 1
    client.post(url(cast, "end"))
    assert in_force(cast.swims["tomas"].entry.swimmer) == set()
    assert "nothing to agree to" in client.get(PAGE).content.decode()


def test_one_click_each_way_for_that_purpose_only(cast: Cast) -> None:
    tomas = cast.swims["tomas"].entry.swimmer
    client = sign_in(Client(), with_texts(cast).tomas)
    client.post(url(cast, "give", GROUP), {"version": 1, "language": "fr"})
    given = Consent.objects.get(swimmer=tomas, purpose=GROUP)
    assert given.method == "account" and given.recorded_by == cast.tomas
    assert given.text is not None and given.text.language == "fr"
    assert in_force(tomas) == {FILM, GROUP}
    answer = client.post(url(cast, "end", GROUP))
    assert answer["Location"] == f"{PAGE}#{GROUP}-{tomas.pk}"
    assert in_force(tomas) == {FILM}


def test_giving_asks_for_a_fresh_sign_in_and_withdrawing_never(cast: Cast) -> None:
    tomas = cast.swims["tomas"].entry.swimmer
    client = sign_in(Client(), with_texts(cast).tomas, fresh=False)
    answer = client.post(url(cast, "give", GROUP), {"version": 1})
    assert answer.status_code == 303 and "fresh" in answer["Location"]
    assert in_force(tomas) == {FILM}
    client.post(url(cast, "end"))
    assert in_force(tomas) == set()
    clips = Clip.objects.filter(swim=cast.swims["tomas"])
    assert clips.visible_to(cast.coach).count() == 0


def test_a_changed_text_is_shown_and_until_then_the_old_holds(cast: Cast) -> None:
    tomas = cast.swims["tomas"].entry.swimmer
    with_texts(cast)
    next_version(cast)
    client = sign_in(Client(), cast.tomas)
    page = client.get(PAGE).content.decode()
    assert "The text has changed since you agreed" in page and "You agree. Withdraw" in page
    client.post(url(cast, "give"), {"version": 2, "language": "en"})
    rows = Consent.objects.filter(swimmer=tomas, ended_at__isnull=True)
    assert [row.text.version for row in rows if row.text] == [2]
    assert "The text has changed" not in client.get(PAGE).content.decode()


def test_nobody_answers_for_somebody_else(cast: Cast) -> None:
    with_texts(cast)
    for user in (cast.tomas, cast.admin, cast.coach):
        client = sign_in(Client(), user)
        for name in ("give", "end"):
            assert client.post(url(cast, name, whose="wren")).status_code == 404
    assert in_force(cast.swims["wren"].entry.swimmer) == {FILM}


def test_who_is_on_no_roster_is_told_so(cast: Cast) -> None:
    page = sign_in(Client(), cast.coach).get(PAGE).content.decode()
    assert "You are on no clinic" in page


def test_a_refusal_stands_among_what_was_said(cast: Cast) -> None:
    client = sign_in(Client(), with_texts(cast).tomas)
    client.post(url(cast, "give", COACHES), {"version": 1})
    client.post(url(cast, "end", COACHES))
    page = client.get(PAGE).content.decode()
    row = Consent.objects.get(swimmer__user=cast.tomas, purpose=COACHES)
    assert reverse("clinics:receipt", args=[row.pk]) in page
