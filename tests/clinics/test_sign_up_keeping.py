"""What becomes of sign-ups: kept so long, erased, taken along, and not back after a restore."""

from __future__ import annotations

import datetime as dt
import io
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from clinics.actions import persons
from clinics.actions.keeping_calendar import calendar_of
from clinics.actions.sign_up import confirm
from clinics.actions.sign_up_answers import end_answer
from clinics.actions.sign_up_end import delete, withdraw
from clinics.actions.sign_up_person import ERASE, put_sign_ups
from clinics.models import Clinic, ClubRules, EntryNote, SignUp, SignUpSheet, Swimmer
from portal.actions import ledger, purge
from portal.actions.export import Pack
from portal.actions.replay import replay
from portal.models import AuditEntry, Hold
from portal.registry import Person
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import FILM
from tests.clinics.sign_up_tools import HURTS, WISH, State, asks, open_sheet, signs_up

NAME = "Tomas Birk"


@pytest.fixture(autouse=True)
def own_ledger(settings: Any, tmp_path: Path) -> None:
    settings.LEDGER_FILE = tmp_path / "deletions.jsonl"


@pytest.fixture
def sheet(cast: Cast) -> SignUpSheet:
    return open_sheet(cast)


def of_tomas(cast: Cast, sheet: SignUpSheet) -> SignUp:
    swimmer = cast.swims["tomas"].entry.swimmer
    return asks(sheet, NAME, cast.tomas.email, by=cast.tomas, swimmer=swimmer)


def its_day_was(cast: Cast, days_ago: int) -> None:
    day = timezone.localdate() - dt.timedelta(days=days_ago)
    Clinic.objects.filter(pk=cast.clinic.pk).update(date=day)


def purged(name: str) -> purge.StepReport:
    [report] = [one for one in purge.purge() if one.step.name == name]
    return report


# --- purge ----------------------------------------------------------------------------------------


def test_injuries_go_when_the_clinic_is_closed_the_rest_stays(
    cast: Cast, sheet: SignUpSheet
) -> None:
    for name in (NAME, "Noor Castellan"):
        signs_up(sheet, name)
    assert purged("injuries").due == []
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    [due] = purge_step("injuries").due(10)
    assert due.id == cast.clinic.pk
    purge.purge()
    assert set(EntryNote.objects.values_list("kind", "text")) == {("look-at", WISH)}
    assert SignUp.objects.count() == 2
    [noted] = AuditEntry.objects.filter(action="purge.injuries")
    assert noted.club_id == cast.harbour.pk and HURTS not in noted.text
    assert purged("injuries").due == []  # twice changes nothing


def purge_step(name: str) -> Any:
    from portal.registry import purge_steps

    return purge_steps.get(name)


@pytest.mark.parametrize(("days_ago", "there"), [(59, True), (61, False)])
def test_sign_ups_go_after_the_clubs_days_closed_or_not(
    cast: Cast, sheet: SignUpSheet, days_ago: int, there: bool
) -> None:
    """60 days are the default of what was never given; nobody need close the clinic for it."""
    signs_up(sheet)
    its_day_was(cast, days_ago)
    purge.purge()
    assert SignUp.objects.exists() == EntryNote.objects.exists() == there
    assert SignUpSheet.objects.exists()  # names nobody


def test_the_clubs_own_days_count(cast: Cast, sheet: SignUpSheet) -> None:
    ClubRules.objects.create(club=cast.harbour, not_given_days=10)
    signs_up(sheet)
    its_day_was(cast, 11)
    purge.purge()
    assert not SignUp.objects.exists()


def test_what_nobody_confirmed_goes_after_three_days(cast: Cast, sheet: SignUpSheet) -> None:
    old, fresh = asks(sheet), asks(sheet, "Noor Castellan")
    kept = signs_up(sheet, "Rune Tallis")
    long_ago = timezone.now() - dt.timedelta(days=3, minutes=1)
    SignUp.objects.filter(pk__in=[old.pk, kept.pk]).update(made_at=long_ago)
    purge.purge()
    assert set(SignUp.objects.values_list("pk", flat=True)) == {fresh.pk, kept.pk}


def test_what_is_held_stays_and_the_others_go(cast: Cast, sheet: SignUpSheet) -> None:
    row = of_tomas(cast, sheet)
    signs_up(sheet, "Noor Castellan")
    hold = Hold.objects.create(
        subject_kind="clinics.Swimmer",
        subject_id=row.swimmer_id,
        reason="asked for by the insurer",
        owner=cast.admin,
        review_on=timezone.localdate(),
    )
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    its_day_was(cast, 61)
    assert purged("sign-ups").held == 1
    assert list(SignUp.objects.all()) == [row] and row.notes.count() == 2
    hold.ended_at = timezone.now()
    hold.save()
    purge.purge()
    assert not SignUp.objects.exists()


def test_page_of_what_goes_when_names_the_day(cast: Cast, sheet: SignUpSheet) -> None:
    signs_up(sheet)
    [line] = calendar_of(cast.harbour, what="sign-ups")
    assert (line.count, line.clinic) == (1, cast.clinic)
    assert line.day == cast.clinic.date + dt.timedelta(days=60)
    shown = sign_in(Client(), cast.admin).get(f"/clubs/{cast.harbour.slug}/keeping/")
    assert "sign-ups, with what was written for coaches" in shown.content.decode()


# --- a restore ------------------------------------------------------------------------------------


def again_after(rows: list[dict[str, Any]], notes: list[dict[str, Any]]) -> None:
    """As a backup from before would have it, then what the ledger says."""
    EntryNote.objects.all().delete()
    SignUp.objects.all().delete()
    SignUp.objects.bulk_create(SignUp(**row) for row in rows)
    EntryNote.objects.bulk_create(EntryNote(**note) for note in notes)
    replay(backup_at=timezone.now() - dt.timedelta(minutes=5))


def kept() -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    return list(SignUp.objects.values()), list(EntryNote.objects.values())


def test_restore_brings_nothing_back(
    cast: Cast, sheet: SignUpSheet, django_capture_on_commit_callbacks: Any
) -> None:
    gone, withdrew, purged_one = (signs_up(sheet, name) for name in ("Noor", "Rune", "Pia"))
    took_back = signs_up(sheet, "Juno")
    before = kept()
    with django_capture_on_commit_callbacks(execute=True):
        delete(sign_up=gone, by=None)
        withdraw(sign_up=withdrew, by=None)
        end_answer(sign_up=took_back, purpose=FILM, by=None)
        Clinic.objects.filter(pk=cast.clinic.pk).update(closed_at=timezone.now())
        purge.purge()
    Clinic.objects.filter(pk=cast.clinic.pk).update(closed_at=None)  # closed after the backup
    again_after(*before)
    assert not SignUp.objects.filter(pk=gone.pk).exists()
    row = SignUp.objects.get(pk=withdrew.pk)
    assert (row.state, row.answers, row.notes.count()) == (State.WITHDRAWN, {}, 0)
    assert not SignUp.objects.get(pk=took_back.pk).answers[FILM]["agrees"]
    assert not EntryNote.objects.filter(text=HURTS).exists()
    assert SignUp.objects.get(pk=purged_one.pk).notes.get().text == WISH


def test_said_anew_after_the_withdrawal_stays(
    cast: Cast, sheet: SignUpSheet, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        withdraw(sign_up=signs_up(sheet), by=None)
    again = confirm(sign_up=asks(sheet))
    again_after(*kept())
    assert SignUp.objects.get(pk=again.pk).state == State.SIGNED_UP
    assert {line.kind for line in ledger.lines()} == {"clinics.SignUp", "clinics.EntryNote"}


# --- one person -----------------------------------------------------------------------------------


def person(swimmer: Swimmer) -> Person:
    found = persons.find(swimmer.pk)
    assert found is not None
    return found


def test_erasing_takes_own_sign_ups_and_the_name_out_of_others(
    cast: Cast, sheet: SignUpSheet
) -> None:
    tomas = cast.swims["tomas"].entry.swimmer
    SignUpSheet.objects.update(places=2)
    of_tomas(cast, sheet)
    Swimmer.objects.filter(pk=tomas.pk).update(user=None)
    other = signs_up(sheet, "Wren Okada")
    EntryNote.objects.filter(sign_up=other, kind="look-at").update(text=f"as {NAME} does")
    waits = signs_up(sheet, "Noor Castellan")
    assert waits.state == State.WAITING
    found = ERASE.find(person(tomas))  # type: ignore[misc]
    assert found.rows == {"sign-ups": 1, "notes-for-coaches": 2, "in-notes": 1}
    for _ in range(2):  # may run twice
        ERASE.run(person(tomas))
    assert set(SignUp.objects.values_list("name", flat=True)) == {"Wren Okada", "Noor Castellan"}
    assert EntryNote.objects.get(sign_up=other, kind="look-at").text == "as [erased] does"
    waits.refresh_from_db()
    assert waits.state == State.SIGNED_UP
    assert not any(ERASE.find(person(tomas)).rows.values())  # type: ignore[misc]


def test_erasing_finds_what_was_signed_up_before_there_was_a_swimmer(
    cast: Cast, sheet: SignUpSheet
) -> None:
    """By an address that is nobody else's; a partner's by the same account stays."""
    swimmer = Swimmer.objects.create(
        club=cast.harbour, name="Bela Roan", email="bela.roan@harbourlane.example"
    )
    signs_up(sheet)
    asks(sheet, NAME, cast.tomas.email, by=cast.tomas)
    partner = asks(sheet, "Liv Marchetti", cast.tomas.email, by=cast.tomas)
    ERASE.run(person(swimmer))
    assert not SignUp.objects.filter(name="Bela Roan").exists()
    ERASE.run(person(cast.swims["tomas"].entry.swimmer))
    assert list(SignUp.objects.all()) == [partner]


def test_erasing_leaves_another_clubs_sign_up(cast: Cast, sheet: SignUpSheet) -> None:
    elsewhere = Swimmer.objects.create(club=cast.quillmoor, name=NAME, user=cast.tomas)
    row = of_tomas(cast, sheet)
    ERASE.run(person(elsewhere))
    assert SignUp.objects.filter(pk=row.pk).exists()


def test_export_holds_the_own_and_nothing_of_others(cast: Cast, sheet: SignUpSheet) -> None:
    of_tomas(cast, sheet)
    other = signs_up(sheet, "Wren Okada", cast.wren.email)
    EntryNote.objects.filter(sign_up=other).update(text="Wren's own words")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        tomas = person(cast.swims["tomas"].entry.swimmer)
        put_sign_ups(Pack(archive, tomas, cast.tomas, lambda *a, **k: None))
    files = zipfile.ZipFile(out)
    [row] = json.loads(files.read("sign-ups.json"))
    assert (row["name"], row["state"]) == (NAME, "signed-up")
    assert (row["for_coaches"], row["injuries"]) == (WISH, HURTS)
    assert row["answers"]["show-to-group"] is False
    assert not any(b"Wren" in files.read(name) for name in files.namelist())


def test_notice_says_how_long(cast: Cast) -> None:
    page = sign_in(Client(), cast.tomas).get("/notice/").content.decode()
    assert "Injuries that you tell the coaches: until the clinic is closed." in page
