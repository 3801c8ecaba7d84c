"""Seeing, changing and taking back one's own sign-up."""

from __future__ import annotations

import datetime as dt

import pytest
from django.test import Client
from django.utils import timezone

from clinics.actions.sign_up_sheet import set_sheet
from clinics.models import Clinic, EntryNote, SignUp, SignUpSheet
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import FILM, GROUP
from tests.clinics.sign_up_tools import (
    BELA,
    BELA_MAIL,
    END,
    EVERY,
    HURTS,
    MINE,
    WISH,
    State,
    asks,
    open_sheet,
    opened,
    page_of,
    signs_up,
)


@pytest.fixture
def sheet(cast: Cast) -> SignUpSheet:
    return open_sheet(cast)


@pytest.fixture
def bela(sheet: SignUpSheet) -> SignUp:
    return signs_up(sheet, BELA, BELA_MAIL)


def changed(**more: object) -> dict[str, object]:
    told: dict[str, object] = {
        "stroke": "freestyle",
        "start": "edge",
        "time": "1:40",
        "over_m": "100",
        "look_at": "the start",
        "injuries": "",
        "language": "en",
    }
    return told | {f"version-{purpose}": 1 for purpose in EVERY} | more


def test_link_shows_what_was_said_but_no_injuries(bela: SignUp) -> None:
    """A mail may be forwarded."""
    page = page_of(opened(), MINE)
    assert "You have a place" in page and WISH in page and BELA in page
    assert HURTS not in page and "Delete what I wrote about injuries" in page


def test_link_changes_how_and_leaves_injuries_that_it_does_not_show(bela: SignUp) -> None:
    assert opened().post(MINE, changed()).status_code == 303
    bela.refresh_from_db()
    assert (bela.stroke, bela.start, bela.pace_s_per_100m) == ("freestyle", "edge", 100.0)
    assert EntryNote.objects.get(sign_up=bela, kind="injuries").text == HURTS
    assert EntryNote.objects.get(sign_up=bela, kind="look-at").text == "the start"


def test_injuries_are_written_anew_or_deleted_by_the_link(bela: SignUp) -> None:
    client = opened()
    client.post(MINE, changed(injuries="right knee"))
    assert EntryNote.objects.get(sign_up=bela, kind="injuries").text == "right knee"
    client.post(MINE, changed(forget_injuries="on"))
    assert not EntryNote.objects.filter(sign_up=bela, kind="injuries").exists()


def test_what_is_wrong_is_said_and_nothing_changes(bela: SignUp) -> None:
    answer = opened().post(MINE, changed(time="soon", injuries="right knee"))
    assert answer.status_code == 422
    assert "cannot be read as a time" in answer.content.decode()
    assert "right knee" in answer.content.decode()
    bela.refresh_from_db()
    assert bela.stroke == "backstroke"


def test_consent_is_withdrawn_by_one_click_and_given_by_an_empty_box(bela: SignUp) -> None:
    client = opened()
    assert client.post(END, {"purpose": FILM}).status_code == 303
    bela.refresh_from_db()
    assert not bela.answers[FILM]["agrees"]
    client.post(MINE, changed(**{FILM: "on", GROUP: "on"}))
    bela.refresh_from_db()
    assert {p for p, said in bela.answers.items() if said["agrees"]} == {FILM, GROUP}


def test_answers_that_were_given_are_not_asked_again(bela: SignUp) -> None:
    client, before = opened(), bela.answers[FILM]
    page = page_of(client, MINE)
    assert f'name="{FILM}"' not in page and f'name="{GROUP}"' in page
    client.post(MINE, changed())
    bela.refresh_from_db()
    assert bela.answers[FILM] == before


def test_taken_back_with_all_that_was_for_coaches(bela: SignUp) -> None:
    client = opened()
    client.post(END, {"do": "withdraw"})
    bela.refresh_from_db()
    assert (bela.state, bela.answers) == (State.WITHDRAWN, {})
    assert not EntryNote.objects.exists()
    page = page_of(client, MINE)
    assert "You took your sign-up back" in page and "Keep the changes" not in page
    client.post(END, {"do": "delete"})
    assert not SignUp.objects.exists()
    assert "No sign-up is open here" in page_of(client, MINE)


def test_closed_nothing_changes_but_taking_back_works(
    cast: Cast, sheet: SignUpSheet, bela: SignUp
) -> None:
    client = opened()
    set_sheet(clinic=cast.clinic, values={"is_open": False}, by=cast.admin)
    client.post(MINE, changed())
    bela.refresh_from_db()
    assert bela.stroke == "backstroke"
    assert "only the club changes something now" in page_of(client, MINE)
    client.post(END, {"purpose": FILM})
    client.post(END, {"do": "withdraw"})
    bela.refresh_from_db()
    assert bela.state == State.WITHDRAWN


def test_after_the_day_nobody_takes_back_what_was(cast: Cast, bela: SignUp) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(
        date=timezone.localdate() - dt.timedelta(days=2)
    )
    client = opened()
    client.post(END, {"do": "withdraw"})
    bela.refresh_from_db()
    assert bela.state == State.SIGNED_UP


# --- on the account -------------------------------------------------------------------------------


def own(sheet: SignUpSheet, cast: Cast) -> SignUp:
    swimmer = cast.swims["tomas"].entry.swimmer
    return asks(sheet, "Tomas Birk", cast.tomas.email, by=cast.tomas, swimmer=swimmer)


def test_account_lists_the_own_and_nobody_elses(
    cast: Cast, sheet: SignUpSheet, bela: SignUp
) -> None:
    row = own(sheet, cast)
    client = sign_in(Client(), cast.tomas)
    page = page_of(client, "/my-sign-ups/")
    assert "Tomas Birk" in page and BELA not in page
    assert client.get(f"/my-sign-ups/{row.pk}/")["Location"] == MINE
    assert client.get(f"/my-sign-ups/{bela.pk}/").status_code == 404
    assert HURTS in page_of(client, MINE)  # signed in, the own words are shown


def test_who_has_proved_the_address_finds_what_was_signed_up_by_mail(
    cast: Cast, sheet: SignUpSheet
) -> None:
    signs_up(sheet, "Wren Okada", cast.wren.email)
    asks(sheet, "Wren Okada the Second", cast.wren.email)  # not confirmed: of nobody yet
    page = page_of(sign_in(Client(), cast.wren), "/my-sign-ups/")
    assert "Wren Okada" in page and "the Second" not in page


def test_what_an_account_opened_is_closed_when_it_signs_out(cast: Cast, sheet: SignUpSheet) -> None:
    row = own(sheet, cast)
    client = sign_in(Client(), cast.tomas)
    client.get(f"/my-sign-ups/{row.pk}/")
    session = client.session
    told = session["sign_up_mine"]
    client.post("/sign-out/")
    session = client.session
    session["sign_up_mine"] = told
    session.save()
    assert "No sign-up is open here" in page_of(client, MINE)


def test_changing_on_an_account_asks_for_a_fresh_sign_in_taking_back_never(
    cast: Cast, sheet: SignUpSheet
) -> None:
    row = own(sheet, cast)
    client = sign_in(Client(), cast.tomas, fresh=False)
    client.get(f"/my-sign-ups/{row.pk}/")
    page = page_of(client, MINE)
    assert "Keep the changes" not in page and "?change=1" in page
    assert client.get(f"{MINE}?change=1")["Location"].startswith("/account/fresh/")
    assert client.post(MINE, changed()).status_code == 422
    client.post(END, {"do": "withdraw"})
    row.refresh_from_db()
    assert (row.state, row.stroke) == (State.WITHDRAWN, "backstroke")


@pytest.mark.parametrize("many", [1, 3])
def test_own_list_takes_as_many_queries_for_many(
    cast: Cast, sheet: SignUpSheet, many: int, django_assert_num_queries: object
) -> None:
    for step in range(many):
        asks(sheet, f"Swimmer {step}", cast.tomas.email, by=cast.tomas)
    client = sign_in(Client(), cast.tomas)
    client.get("/my-sign-ups/")
    with django_assert_num_queries(7):  # type: ignore[operator]
        client.get("/my-sign-ups/")
