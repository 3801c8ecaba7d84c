"""The club's pages of sign-ups: opened, listed, taken in, taken along; and who sees how much."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.models import Clinic, LaneGroup, SignUp, SignUpSheet, Swimmer
from portal.csv_out import BYTE_ORDER_MARK
from portal.models import AuditEntry
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import FILM, with_texts
from tests.clinics.sign_up_tools import (
    BELA,
    BELA_MAIL,
    State,
    ahead,
    asks,
    last_mail,
    mail_of,
    open_sheet,
    signs_up,
)


def url(cast: Cast, name: str, *more: Any) -> str:
    return reverse(f"clinics:{name}", args=[cast.clinic.pk, *more])


def admin(cast: Cast) -> Client:
    return sign_in(Client(), cast.admin)


def page(client: Client, path: str) -> str:
    return client.get(path).content.decode()


# --- the sheet ------------------------------------------------------------------------------------


def test_admin_opens_closes_and_renews_the_link(cast: Cast) -> None:
    ahead(with_texts(cast).clinic)
    client, path = admin(cast), url(cast, "sign-ups")
    closes = f"{cast.clinic.date}T09:30"
    told = {"places": 12, "closes_at": closes, "words": "Meet at 9:45.", "do": "open"}
    assert client.post(path, told).status_code == 302
    sheet = SignUpSheet.objects.get()
    assert (sheet.is_open, sheet.places, sheet.words) == (True, 12, "Meet at 9:45.")
    assert sheet.closes_at is not None  # typed in the clinic's time zone
    assert sheet.closes_at.astimezone(cast.clinic.zone).isoformat()[:16] == closes
    assert f'value="{closes}"' in page(client, path)
    assert f"/sign-up/{sheet.token}/" in page(client, path)
    client.post(path, {"do": "new-link"})
    assert sheet.token not in page(client, path)
    client.post(path, told | {"do": "close"})
    assert not SignUpSheet.objects.get().is_open
    acts = AuditEntry.objects.filter(action__startswith="sign-up.").values_list("action", flat=True)
    assert list(acts) == ["sign-up.sheet", "sign-up.new-link", "sign-up.sheet"]


@pytest.mark.parametrize("places", ["0", "501", "many"])
def test_places_that_cannot_be_are_refused_and_words_stay(cast: Cast, places: str) -> None:
    ahead(with_texts(cast).clinic)
    told = {"places": places, "words": "Meet at 9:45.", "do": "open"}
    answer = admin(cast).post(url(cast, "sign-ups"), told)
    assert answer.status_code == 422 and "Meet at 9:45." in answer.content.decode()
    assert not SignUpSheet.objects.exists()


def test_opening_without_texts_says_what_to_do(cast: Cast) -> None:
    ahead(cast.clinic)
    answer = admin(cast).post(url(cast, "sign-ups"), {"places": 12, "do": "open"})
    assert answer.status_code == 422
    assert "Publish the consent texts first" in answer.content.decode()


def test_poster_has_the_link_in_letters_and_as_a_code(cast: Cast) -> None:
    sheet = open_sheet(cast)
    for user in (cast.admin, cast.coach, cast.crew):
        shown = page(sign_in(Client(), user), url(cast, "sign-up-poster"))
        assert f"/sign-up/{sheet.token}/" in shown and "data:image/svg+xml;base64," in shown


def test_who_works_here_sees_how_many_and_no_names(cast: Cast) -> None:
    signs_up(open_sheet(cast))
    for user in (cast.coach, cast.checker, cast.crew):
        shown = page(sign_in(Client(), user), url(cast, "sign-ups"))
        assert "1 of 40 places is taken" in shown and BELA not in shown and BELA_MAIL not in shown


# --- the list -------------------------------------------------------------------------------------


def test_list_says_who_has_a_place_who_waits_and_who_may_be_filmed(cast: Cast) -> None:
    sheet = open_sheet(cast, places=2)
    signs_up(sheet, "Noor Castellan")
    signs_up(sheet, "Rune Tallis", agreed=())
    signs_up(sheet, "Pia Lindholm")
    asks(sheet, "Juno Halloran", mail_of("Juno Halloran"))
    shown = page(admin(cast), url(cast, "sign-ups"))
    assert "on the waiting list, number 1" in shown and "does not agree" in shown
    assert "1 has not confirmed by mail yet" in shown and "Juno" not in shown


@pytest.mark.parametrize("many", [1, 3])
def test_list_takes_as_many_queries_for_many(
    cast: Cast, many: int, django_assert_num_queries: Any
) -> None:
    sheet, client = open_sheet(cast), admin(cast)
    for step in range(many):
        signs_up(sheet, f"Swimmer {step}")
    client.get(url(cast, "sign-ups"))
    with django_assert_num_queries(13):
        client.get(url(cast, "sign-ups"))


@pytest.mark.parametrize("many", [1, 3])
def test_proposals_take_as_many_queries_for_many(
    cast: Cast, many: int, django_assert_num_queries: Any
) -> None:
    sheet, client = open_sheet(cast), admin(cast)
    for step in range(many):
        signs_up(sheet, f"Swimmer {step}")
    client.get(url(cast, "sign-up-take-in"))
    with django_assert_num_queries(12):
        client.get(url(cast, "sign-up-take-in"))


def test_table_is_taken_along_and_no_cell_is_a_formula(cast: Cast) -> None:
    sheet = open_sheet(cast)
    signs_up(sheet, "=1+1", "formula@harbourlane.example")
    answer = admin(cast).get(url(cast, "sign-ups-csv"))
    text = answer.content.decode().removeprefix(BYTE_ORDER_MARK)
    head, row = csv.reader(io.StringIO(text))
    told = dict(zip(head, row, strict=True))
    assert told["Name"] == "'=1+1" and told["State"] == "has a place"
    assert told["To be filmed"] == "agrees" and told["Seconds per 100 m"] == "95.0"


def test_admin_of_another_club_sees_and_does_nothing(cast: Cast) -> None:
    row = signs_up(open_sheet(cast))
    client = sign_in(Client(), cast.other_admin)
    for name in ("sign-ups", "sign-ups-csv", "sign-up-take-in", "sign-up-add", "sign-up-poster"):
        assert client.get(url(cast, name)).status_code == 404
    own = reverse("clinics:sign-up-act", args=[cast.other_clinic.pk, row.pk])
    for path in (own, url(cast, "sign-up-act", row.pk)):
        assert client.post(path, {"do": "decline"}).status_code == 404
    row.refresh_from_db()
    assert row.state == State.SIGNED_UP


# --- acts -----------------------------------------------------------------------------------------


def test_acts_on_one_sign_up(cast: Cast) -> None:
    sheet, client = open_sheet(cast, places=1), admin(cast)
    first, second = signs_up(sheet, "Noor Castellan"), signs_up(sheet, "Rune Tallis")
    path = url(cast, "sign-up-act", second.pk)
    answer = client.post(path, {"do": "give-place"}, follow=True)
    assert "No place is free" in answer.content.decode()
    mails = last_mail(second.email).pk
    client.post(path, {"do": "write-again"})
    assert last_mail(second.email).pk != mails
    client.post(path, {"do": "decline", "words": "Next time."})
    client.post(url(cast, "sign-up-act", first.pk), {"do": "withdraw"})
    assert set(SignUp.objects.values_list("state", flat=True)) == {State.DECLINED, State.WITHDRAWN}
    assert client.post(path, {"do": "anything"}).status_code == 302


def test_by_hand_the_admin_says_that_they_are_adults(cast: Cast) -> None:
    open_sheet(cast)
    client, path = admin(cast), url(cast, "sign-up-add")
    told = {"name": "Esme  Quayle", "email": "", "stroke": "freestyle", "start": "edge"}
    told |= {"time": "92", "over_m": "100"}
    assert client.post(path, told).status_code == 422
    assert client.post(path, told | {"adult": "on"}).status_code == 302
    row = SignUp.objects.get()
    assert (row.name, row.state, row.pace_s_per_100m) == ("Esme Quayle", State.SIGNED_UP, 92.0)
    assert "not asked yet" in page(client, url(cast, "sign-ups"))
    again = client.post(path, told | {"adult": "on"})
    assert again.status_code == 422 and "signed up already" in again.content.decode()


def fields(row: SignUp, **told: Any) -> dict[str, Any]:
    return {f"{name}-{row.pk.hex}": value for name, value in told.items()}


def test_taking_in_by_the_page_only_those_with_a_tick(cast: Cast) -> None:
    sheet, client = open_sheet(cast), admin(cast)
    first, second = signs_up(sheet, "Noor Castellan"), signs_up(sheet, "Rune Tallis")
    path = url(cast, "sign-up-take-in")
    assert 'value="4"' in page(client, path) and "new to the club" in page(client, path)
    told = fields(first, take="on", number=21, group="Lane 3") | fields(
        second, number=22, group="A"
    )
    assert client.post(path, told).status_code == 302
    entry = cast.clinic.entries.get(number=21)
    assert (entry.swimmer.name, entry.lane_group.name) == ("Noor Castellan", "Lane 3")
    assert LaneGroup.objects.get(name="Lane 3").order > 1000
    second.refresh_from_db()
    assert second.state == State.SIGNED_UP


def test_taking_in_a_number_twice_keeps_what_was_typed(cast: Cast) -> None:
    row = signs_up(open_sheet(cast))
    told = fields(row, take="on", number=1, group="Lane 7")
    answer = admin(cast).post(url(cast, "sign-up-take-in"), told)
    assert answer.status_code == 422
    assert "number 1 is taken" in answer.content.decode() and "Lane 7" in answer.content.decode()


def test_a_namesake_is_chosen_on_the_page(cast: Cast) -> None:
    known = Swimmer.objects.create(club=cast.harbour, name=BELA)
    row, client = signs_up(open_sheet(cast)), admin(cast)
    path = url(cast, "sign-up-take-in")
    assert "no address known" in page(client, path)
    client.post(path, fields(row, take="on", number=9, group="A", who=str(known.pk)))
    row.refresh_from_db()
    assert row.swimmer == known


def test_closed_clinic_offers_nothing_to_change(cast: Cast) -> None:
    row = signs_up(open_sheet(cast))
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    client = admin(cast)
    assert "Open signing up" not in page(client, url(cast, "sign-ups"))
    client.post(url(cast, "sign-up-act", row.pk), {"do": "decline"})
    answer = client.post(url(cast, "sign-ups"), {"places": 3, "do": "open"})
    row.refresh_from_db()
    assert answer.status_code == 422 and row.state == State.SIGNED_UP
    assert row.answers[FILM]["agrees"]
