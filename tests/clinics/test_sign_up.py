"""Signing up on the club's page: what counts, when, and for whom."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinics.actions.sign_up_sheet import end_link, set_sheet
from clinics.models import Clinic, EntryNote, SignUp, SignUpSheet, Swimmer
from portal.actions.mail import deliver_mail
from portal.models import AuditEntry, OutboxMail
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import FILM, GROUP, in_force
from tests.clinics.sign_up_tools import (
    BELA,
    BELA_MAIL,
    EVERY,
    FORM,
    HURTS,
    MINE,
    SENT,
    State,
    asks,
    at_sheet,
    filled,
    last_mail,
    link_in,
    open_sheet,
    opened,
    page_of,
    signs_up,
)


@pytest.fixture
def sheet(cast: Cast) -> SignUpSheet:
    return open_sheet(cast)


# --- the form -------------------------------------------------------------------------------------


def test_link_leads_to_a_clean_url_and_opens_for_this_browser_alone(sheet: SignUpSheet) -> None:
    client = at_sheet(sheet)
    page = client.get(FORM)
    assert "Sign up for “Autumn clinic”" in page.content.decode()
    assert sheet.token not in page.content.decode()
    assert page["Referrer-Policy"] == "no-referrer" and "noindex" in page["X-Robots-Tag"]
    assert "No clinic is open here" in page_of(Client(), FORM)
    assert "No clinic is open here" in page_of(at_sheet(SignUpSheet(token="wrong-token")), FORM)


def test_a_new_link_ends_the_old_one(cast: Cast, sheet: SignUpSheet) -> None:
    old = sheet.token
    end_link(sheet=sheet, by=cast.admin)
    client = Client()
    client.get(f"/sign-up/{old}/")
    assert "No clinic is open here" in page_of(client, FORM)


def test_form_asks_all_at_once_and_no_box_is_ticked(sheet: SignUpSheet) -> None:
    page = page_of(at_sheet(sheet), FORM)
    for name in ("name", "email", "adult", "stroke", "start", "time", "look_at", "injuries", FILM):
        assert f'name="{name}"' in page
    boxes = re.findall(r'<input type="checkbox"[^>]*>', page)
    assert len(boxes) == 1 + len(EVERY) and not any("checked" in box for box in boxes)
    assert "40 of 40 places are free" in page
    assert "decided at the pool" in page  # nothing says that a start is safe


def test_nothing_counts_until_it_is_confirmed_from_the_mail(cast: Cast, sheet: SignUpSheet) -> None:
    client = at_sheet(sheet)
    answer = client.post(FORM, filled())
    assert (answer.status_code, answer["Location"]) == (303, SENT)
    row = SignUp.objects.get()
    assert (row.state, row.confirmed_at, row.pace_s_per_100m) == (State.TO_CONFIRM, None, 84.0)
    assert not Swimmer.objects.filter(name=BELA).exists()
    assert "40 of 40 places are free" in page_of(client, FORM)
    assert BELA not in page_of(sign_in(Client(), cast.admin), admin_page(cast))
    browser = opened()
    assert SignUp.objects.get().state == State.TO_CONFIRM  # opening it changes nothing
    browser.post(MINE, {"confirm": "yes"})
    row.refresh_from_db()
    assert row.state == State.SIGNED_UP and row.confirmed_at is not None
    assert row.answers[FILM]["agrees"] and not row.answers[GROUP]["agrees"]
    assert BELA in page_of(sign_in(Client(), cast.admin), admin_page(cast))


def admin_page(cast: Cast) -> str:
    return f"/clinics/{cast.clinic.pk}/plan/sign-up/"


def test_confirming_twice_is_once(sheet: SignUpSheet) -> None:
    asks(sheet)
    browser = opened()
    for _ in range(2):
        browser.post(MINE, {"confirm": "yes"})
    assert SignUp.objects.count() == 1
    assert OutboxMail.objects.filter(to=BELA_MAIL).count() == 2  # to confirm, and the place


def test_mail_holds_the_link_once_sent_no_more_and_nothing_for_coaches(sheet: SignUpSheet) -> None:
    row = asks(sheet)
    mail = last_mail()
    token = link_in(mail).rstrip("/").rsplit("/", 1)[1]
    assert HURTS not in mail.body
    page = opened().get(MINE).content.decode()
    assert token not in page and HURTS not in page and "Something was written" in page
    assert not AuditEntry.objects.filter(text__contains=token).exists()
    assert not any(
        token in str(value) for value in SignUp.objects.filter(pk=row.pk).values()[0].values()
    )
    deliver_mail(mail=mail)
    mail.refresh_from_db()
    assert token not in mail.body


def test_a_link_that_was_changed_opens_nothing(sheet: SignUpSheet) -> None:
    asks(sheet)
    client, path = Client(), link_in(last_mail())
    client.get(path[:-2] + ("x/" if path[-2] != "x" else "y/"))
    assert "No sign-up is open here" in page_of(client, MINE)
    client.get("/sign-up/mine/not-a-token/")
    assert "No sign-up is open here" in page_of(client, MINE)


def test_sent_twice_is_one_sign_up_and_one_mail(sheet: SignUpSheet) -> None:
    client, told = at_sheet(sheet), filled()
    for _ in range(2):
        assert client.post(FORM, told).status_code == 303
    assert SignUp.objects.count() == 1 and OutboxMail.objects.filter(to=BELA_MAIL).count() == 1


# --- what is refused ------------------------------------------------------------------------------


def test_nobody_younger_than_18_signs_up(sheet: SignUpSheet) -> None:
    told = filled()
    del told["adult"]
    answer = at_sheet(sheet).post(FORM, told)
    assert answer.status_code == 422 and "18 or older" in answer.content.decode()
    assert not SignUp.objects.exists()


@pytest.mark.parametrize(
    ("time", "over_m", "says"),
    [("soon", "100", "cannot be read"), ("0:20", "100", "From 40 to 600"), ("9", "400", "From 40")],
)
def test_a_time_that_cannot_be_is_refused_and_what_was_typed_stays(
    sheet: SignUpSheet, time: str, over_m: str, says: str
) -> None:
    answer = at_sheet(sheet).post(FORM, filled(time=time, over_m=over_m))
    page = answer.content.decode()
    assert answer.status_code == 422 and says in page and HURTS in page and BELA in page


def test_a_version_of_a_text_that_never_was_is_refused(sheet: SignUpSheet) -> None:
    answer = at_sheet(sheet).post(FORM, filled(**{f"version-{FILM}": 9}))
    assert answer.status_code == 422 and "no such version" in answer.content.decode()
    assert not SignUp.objects.exists() and not OutboxMail.objects.exists()


@pytest.mark.parametrize(
    "ends",
    [
        {"is_open": False},
        {"closes_at": timezone.now() - dt.timedelta(minutes=1)},
    ],
)
def test_a_closed_sheet_takes_nothing_and_confirms_nothing(
    cast: Cast, sheet: SignUpSheet, ends: dict[str, Any]
) -> None:
    asks(sheet)
    client, browser = at_sheet(sheet), opened()
    set_sheet(clinic=cast.clinic, values=ends, by=cast.admin)
    assert "Signing up is closed" in page_of(client, FORM)
    client.post(FORM, filled("Rune Tallis", "rune.tallis@harbourlane.example"))
    browser.post(MINE, {"confirm": "yes"})
    assert SignUp.objects.get().state == State.TO_CONFIRM
    assert "does not count" in page_of(browser, MINE)


def test_after_its_day_and_when_closed_nobody_signs_up(cast: Cast, sheet: SignUpSheet) -> None:
    client = at_sheet(sheet)
    Clinic.objects.filter(pk=cast.clinic.pk).update(
        date=timezone.localdate() - dt.timedelta(days=2)
    )
    assert "Signing up is closed" in page_of(client, FORM)


# --- nobody learns who signed up, nobody is signed up by a stranger ---------------------


def test_known_and_unknown_addresses_get_the_same_answer_queries_and_mail(
    cast: Cast, sheet: SignUpSheet
) -> None:
    """An address that signed up, one of a swimmer with an account, and one that nobody knows."""
    signs_up(sheet, BELA, BELA_MAIL)
    seen = []
    for name, email in (
        (BELA, BELA_MAIL),
        ("Tomas Birk", cast.tomas.email),
        ("Noor Castellan", "noor.castellan@harbourlane.example"),
    ):
        client = at_sheet(sheet)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            answer = client.post(FORM, filled(name, email))
        mail = last_mail(email)
        subject = mail.subject
        sent = page_of(client, SENT).replace(email, "<address>")
        seen.append(
            (answer.status_code, answer["Location"], len(asked), subject, TOKEN.sub("", sent))
        )
    assert seen[0] == seen[1] == seen[2]


TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="[^"]*"')


def test_a_stranger_changes_nothing_of_who_signed_up(sheet: SignUpSheet) -> None:
    row = signs_up(sheet)
    before = SignUp.objects.filter(pk=row.pk).values().get()
    at_sheet(sheet).post(FORM, filled(time="1:59", over_m="100", look_at="nothing", injuries=""))
    assert SignUp.objects.filter(pk=row.pk).values().get() == before
    assert EntryNote.objects.filter(sign_up=row, text=HURTS).exists()


def test_said_anew_and_confirmed_keeps_the_place(sheet: SignUpSheet) -> None:
    row = signs_up(sheet)
    at_sheet(sheet).post(FORM, filled(time="1:59", over_m="100", injuries="none any more"))
    opened().post(MINE, {"confirm": "yes"})
    again = SignUp.objects.get()
    assert (again.pk, again.confirmed_at) == (row.pk, row.confirmed_at)
    assert again.pace_s_per_100m == 119.0
    assert EntryNote.objects.get(sign_up=row, kind="injuries").text == "none any more"


def test_two_who_share_an_address_are_two(sheet: SignUpSheet) -> None:
    signs_up(sheet, "Wren Okada", "okada.birk@harbourlane.example")
    signs_up(sheet, "Tomas Birk", "okada.birk@harbourlane.example")
    assert SignUp.objects.filter(state=State.SIGNED_UP).count() == 2


def test_who_gets_a_mail_about_somebody_else_deletes_it(sheet: SignUpSheet) -> None:
    asks(sheet)
    opened().post("/sign-up/mine/end/", {"do": "delete"})
    assert not SignUp.objects.exists() and not EntryNote.objects.exists()


def test_the_sixth_mail_to_one_address_is_refused_and_nothing_typed_is_lost(
    sheet: SignUpSheet,
) -> None:
    client = at_sheet(sheet)
    for _ in range(settings.TRIES):
        assert client.post(FORM, filled()).status_code == 303
    answer = client.post(FORM, filled(), headers={"x-forwarded-for": "203.0.113.9"})
    assert answer.status_code == 429 and int(answer["Retry-After"]) > 0
    assert HURTS in answer.content.decode()
    assert client.post(FORM, filled("Rune Tallis", "rune@harbourlane.example")).status_code == 303


def test_forms_of_other_sites_are_refused(sheet: SignUpSheet) -> None:
    client = at_sheet(sheet, Client(enforce_csrf_checks=True))
    assert client.post(FORM, filled()).status_code == 403
    assert not SignUp.objects.exists()


# --- signed in ------------------------------------------------------------------------------------


def test_signed_in_it_counts_at_once_as_the_swimmer_that_the_club_knows(
    cast: Cast, sheet: SignUpSheet
) -> None:
    client = at_sheet(sheet, sign_in(Client(), cast.tomas))
    page = page_of(client, FORM)
    assert 'name="email"' not in page and "Tomas Birk" in page
    assert f'name="{FILM}"' not in page and f'name="{GROUP}"' in page  # only what is open
    told = filled()
    del told["name"], told["email"]
    answer = client.post(FORM, told)
    row = SignUp.objects.get()
    assert answer["Location"] == f"/my-sign-ups/{row.pk}/"
    assert row.state == State.SIGNED_UP and row.came == "account"
    assert row.swimmer == cast.swims["tomas"].entry.swimmer and row.user == cast.tomas
    assert (row.name, row.email) == ("Tomas Birk", cast.tomas.email)
    assert in_force(row.swimmer) == {FILM}  # nothing comes into force before a person takes in


def test_signed_in_nobody_becomes_a_swimmer_of_somebody_else(
    cast: Cast, sheet: SignUpSheet
) -> None:
    client = at_sheet(sheet, sign_in(Client(), cast.tomas))
    other = cast.swims["wren"].entry.swimmer
    client.post(FORM, filled(**{"as": str(other.pk)}))
    assert SignUp.objects.get().swimmer == cast.swims["tomas"].entry.swimmer


def test_couple_with_one_account_chooses_who(cast: Cast, sheet: SignUpSheet) -> None:
    second = Swimmer.objects.create(
        club=cast.harbour, name="Liv Marchetti", user=cast.tomas, adult_attested_at=timezone.now()
    )
    client = at_sheet(sheet, sign_in(Client(), cast.tomas))
    assert "Choose who signs up" in page_of(client, FORM)
    assert client.post(FORM, filled()).status_code == 422
    assert "<b>Liv Marchetti</b>" in page_of(client, f"{FORM}?as={second.pk}")
    client.post(FORM, filled(**{"as": str(second.pk)}))
    client.post(FORM, filled("Noor Castellan", **{"as": "new"}))
    told = set(SignUp.objects.values_list("name", "swimmer", "email"))
    mail = cast.tomas.email
    assert told == {("Liv Marchetti", second.pk, mail), ("Noor Castellan", None, mail)}


def test_consent_on_an_account_asks_for_a_fresh_sign_in(cast: Cast, sheet: SignUpSheet) -> None:
    """What somebody wrote meanwhile is not lost."""
    client = at_sheet(sheet, sign_in(Client(), cast.tomas, fresh=False))
    assert client.get(FORM)["Location"].startswith("/account/fresh/")
    answer = client.post(FORM, filled())
    assert answer.status_code == 422 and HURTS in answer.content.decode()
    assert not SignUp.objects.exists()
    fresh = sign_in(Client(), cast.tomas)
    at_sheet(sheet, fresh)
    told = re.search(r'name="pass" value="([^"]+)"', page_of(fresh, FORM))
    assert told is not None
    assert client.post(FORM, filled(**{"pass": told[1]})).status_code == 303
