"""What is kept of phones and their lines: with the clinic's records, without erased names; and
what being passed over means for what follows from the log."""

from __future__ import annotations

import datetime as dt

import pytest

from clinics.actions import erase_swimmer
from clinics.actions.dropped import drops_of, starts_of_clinic
from clinics.actions.heard_starts import proposals_of
from clinics.actions.log import take_in_log
from clinics.actions.persons import find
from clinics.actions.purge_records import RECORDS_STEP
from clinics.actions.whats_next import standing_of
from clinics.models import (
    Clinic,
    ClockExchange,
    Consent,
    DayWish,
    Entry,
    HeardStart,
    Phone,
    Recording,
    StartLogEntry,
    StationWord,
    Swim,
    Swimmer,
    TakenBack,
    WishWord,
)
from tests.cast import Cast
from tests.clinics.phone_tools import SimPhone, at, enter, send


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    enter(cast.clinic, range(101, 104))
    return cast.clinic


def full_phone(cast: Cast) -> SimPhone:
    """Something of everything that a phone can say."""
    phone = SimPhone("phone-of-liv", name="Phone of Swimmer 101")
    phone.exchange(-30)
    phone.scan(0, SimPhone("phone-of-ida"))
    phone.tap(60, 101, note="Swimmer 101 late")
    phone.tap(150, 102, note="after Swimmer 101")
    phone.undo("line-that-never-came")
    phone.wish(200, 103, "second-go")
    phone.stored["station_words"].append(
        {
            "client_id": "word-0001",
            "station": str(cast.start_side.pk),
            "state": "rolling",
            "wall_ms": phone.wall_ms(60),
        }
    )
    return phone


def test_phones_go_with_the_records_of_their_clinic(cast: Cast, clinic: Clinic) -> None:
    send(clinic, cast.crew, full_phone(cast).body())
    kinds = (Phone, ClockExchange, TakenBack, WishWord, DayWish, StationWord, StartLogEntry)
    assert all(kind._default_manager.exists() for kind in kinds)
    Swim.objects.filter(entry__clinic=clinic).delete()
    years_ago = dt.date.today() - dt.timedelta(days=20 * 366)
    Clinic.objects.filter(pk=clinic.pk).update(
        date=years_ago, state="closed", closed_at=at(-20 * 366 * 86_400)
    )
    (due,) = [one for one in RECORDS_STEP.due(10) if one.id == clinic.pk]
    assert RECORDS_STEP.delete(due) is not None
    assert not any(kind._default_manager.exists() for kind in kinds)


def test_a_phone_that_logged_nothing_is_found_by_the_purge(cast: Cast) -> None:
    """Whose phone it was stands in its row."""
    clinic = cast.other_clinic
    Swim.objects.filter(entry__clinic=clinic).delete()
    Entry.objects.filter(clinic=clinic).delete()
    years_ago = dt.date.today() - dt.timedelta(days=20 * 366)
    Clinic.objects.filter(pk=clinic.pk).update(
        date=years_ago, state="closed", closed_at=at(-20 * 366 * 86_400)
    )
    Recording.objects.filter(station__clinic=clinic).delete()
    Phone.objects.create(clinic=clinic, key="phone-of-liv", user=cast.other_coach)
    assert clinic.pk in {one.id for one in RECORDS_STEP.due(10)}


def test_erasing_somebody_takes_their_name_off_phones_and_notes(cast: Cast, clinic: Clinic) -> None:
    phone = full_phone(cast)
    send(clinic, cast.crew, phone.body())
    person = find(Swimmer.objects.get(name="Swimmer 101").pk)
    assert person is not None
    assert erase_swimmer.find_swims(person).rows["notes-naming"] == 2
    erase_swimmer.erase_swims(person)
    assert Phone.objects.get().name == "Phone of [erased]"
    notes = dict(StartLogEntry.objects.values_list("entry__number", "note"))
    assert notes == {101: "", 102: "after [erased]"}
    send(clinic, cast.crew, phone.body(lines=phone.stored["lines"]))
    assert dict(StartLogEntry.objects.values_list("entry__number", "note")) == notes


def gone(cast: Cast) -> int:
    return int(standing_of(cast.clinic, cast.crew)["standing"].gone)


def test_passed_over_is_no_start_for_anything_that_follows(cast: Cast, clinic: Clinic) -> None:
    """Nothing is dropped, nothing is aligned to it, and the swimmer is still to go."""
    Consent.objects.filter(swimmer__name="Swimmer 101").delete()
    before = drops_of(clinic), starts_of_clinic(clinic), gone(cast)
    phone = SimPhone("phone-of-liv")
    phone.exchange(-30)
    phone.tap(60, 101, "skipped")
    send(clinic, cast.crew, phone.body())
    assert (drops_of(clinic), starts_of_clinic(clinic), gone(cast)) == before
    for at_s in (300, 400, 500, 600):
        HeardStart.objects.create(clinic=clinic, instant=at(at_s), u_ms=3.0)
    proposed = [one.entry.number for one in proposals_of(clinic) if one.entry]
    assert proposed == [1, 2, 3, 101]


def test_passed_over_in_a_file_is_a_line_without_a_swim(cast: Cast, clinic: Clinic) -> None:
    text = (
        "instant,swimmer,outcome\n2026-11-14T10:20:00,101,skipped\n2026-11-14T10:22:00,101,away\n"
    )
    taken = take_in_log(clinic=clinic, text=text, by=None)
    assert (taken.added, taken.swims) == (2, 1)
    assert StartLogEntry.objects.get(outcome="skipped").entry.number == 101  # type: ignore[union-attr]
