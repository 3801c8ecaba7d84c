"""What a phone stored at the pool, taken in: lines, swims, doubles, what is taken back."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from clinics.actions.board.people import was_no_swim
from clinics.actions.log import ClinicClosed, undo_start
from clinics.actions.persons import ERASED
from clinics.models import (
    Clinic,
    Clip,
    DayWish,
    Entry,
    StartLogEntry,
    StationWord,
    Swim,
    Swimmer,
    TakenBack,
)
from portal.models import AuditEntry, Job
from tests.cast import Cast
from tests.clinics.phone_tools import SimPhone, at, enter, goes_of, off_ms, send

HOUR = {number: 90.0 * place for place, number in enumerate(range(101, 141))}


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """The cast's clinic with forty swimmers who have not swum yet."""
    enter(cast.clinic, range(101, 141))
    return cast.clinic


@pytest.fixture
def phone() -> SimPhone:
    """Its clock is known from when the page was opened."""
    phone = SimPhone("phone-of-liv", ahead_s=2.5)
    phone.exchange(-30)
    return phone


def line_of(client_id: str) -> StartLogEntry:
    return StartLogEntry.objects.get(client_id=client_id)


# --- a whole hour --------------------------------------------------------------------------------


def test_forty_lines_taken_offline_become_forty_swims_within_50_ms(
    cast: Cast, clinic: Clinic
) -> None:
    """The bar of the start log: instants within 50 ms of the taps."""
    phone = SimPhone("phone-of-liv", ahead_s=-41.7, slow_ppm=22.0)
    phone.exchange(-30)
    for number, at_s in HOUR.items():
        phone.tap(at_s, number)
    phone.exchange(3700)
    done = send(clinic, cast.crew, phone.body())
    assert (done.lines, done.settled.made, done.refused) == (40, 40, [])
    swims = {number: goes_of(clinic, number) for number in HOUR}
    assert all(len(goes) == 1 for goes in swims.values())
    assert max(off_ms(swims[number][0], at_s) for number, at_s in HOUR.items()) < 50
    again = send(clinic, cast.crew, phone.body())
    assert (again.lines, again.settled.made, again.changed) == (0, 0, False)
    assert set(again.kept) == set(done.kept)
    assert StartLogEntry.objects.filter(clinic=clinic).count() == 40


def test_what_phone_and_log_had_is_kept_with_each_line(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    known_ms = phone.wall_ms(-20)
    told = {"consent_shown": False, "consent_known_ms": known_ms, "note": " goggles \n lost "}
    line = line_of_sent(cast, clinic, phone, phone.tap(60, 101, "not-filmed", **told))
    assert (line.monotonic_ms, line.wall_ms) == (phone.monotonic_ms(60), phone.wall_ms(60))
    assert (line.clock_run, line.outcome, line.note) == (phone.run, "not-filmed", "goggles lost")
    assert line.consent_shown is False
    assert line.consent_known_at == at(-20 + 2.5)  # as the phone told it
    assert line.logged_by == cast.crew and line.phone is not None
    assert (line.phone.key, line.phone.user) == (phone.key, cast.crew)
    assert not goes_of(clinic, 101)


def line_of_sent(cast: Cast, clinic: Clinic, phone: SimPhone, client_id: str) -> StartLogEntry:
    send(clinic, cast.crew, phone.body())
    return line_of(client_id)


def test_planned_clinic_opens_and_one_act_is_recorded(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    Clinic.objects.filter(pk=clinic.pk).update(state="planned")
    send(clinic, cast.crew, phone.body())
    assert not AuditEntry.objects.filter(action="start-log.synced").exists()  # only its clock
    phone.tap(60, 101)
    phone.tap(150, 102)
    for _ in range(2):
        send(clinic, cast.crew, phone.body())
    clinic.refresh_from_db()
    assert clinic.state == "open"
    assert AuditEntry.objects.filter(action="start-log.synced").count() == 1


def test_a_start_asks_for_clips_once_there_are_recordings_and_a_wish_does_not(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    phone.tap(60, 101, "no-show")
    phone.tap(70, 102, "skipped")
    phone.wish(80, 101, "second-go")
    send(clinic, cast.crew, phone.body())
    assert not Job.objects.filter(kind="align").exists()
    phone.tap(150, 102)
    send(clinic, cast.crew, phone.body())
    assert Job.objects.filter(kind="align", subject_id=clinic.pk).count() == 1


# --- outcomes ------------------------------------------------------------------------------------


def test_passed_over_makes_no_swim_and_whoever_goes_later_is_away(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    phone.tap(60, 101, "skipped")
    phone.tap(70, 102, "no-show")
    send(clinic, cast.crew, phone.body())
    assert not goes_of(clinic, 101) and not goes_of(clinic, 102)
    phone.tap(500, 101)
    phone.tap(600, 102)
    send(clinic, cast.crew, phone.body())
    assert [swim.go for swim in goes_of(clinic, 101) + goes_of(clinic, 102)] == [1, 1]


def test_second_go_is_a_second_swim_in_order_of_time_whichever_came_first(
    cast: Cast, clinic: Clinic
) -> None:
    first, second = SimPhone("phone-of-liv"), SimPhone("phone-of-ida")
    for phone in (first, second):
        phone.exchange(-30)
    first.tap(60, 101)
    second.tap(900, 101)
    send(clinic, cast.crew, second.body())
    send(clinic, cast.crew, first.body())
    assert [(swim.go, round(off_ms(swim, 0) / 1000)) for swim in goes_of(clinic, 101)] == [
        (1, 60),
        (2, 900),
    ]


def test_double_tap_within_eight_seconds_is_one_swim(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    for at_s in (60, 67.9, 68.1):
        phone.tap(at_s, 101)
    send(clinic, cast.crew, phone.body())
    assert [round(off_ms(swim, 0) / 1000, 1) for swim in goes_of(clinic, 101)] == [60, 68.1]


def test_start_of_somebody_unknown_is_a_line_without_a_swim(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    before = Swim.objects.count()
    line = line_of_sent(cast, clinic, phone, phone.tap(60, None))
    assert line.entry is None and Swim.objects.count() == before


# --- taken back ----------------------------------------------------------------------------------


def test_undone_before_the_line_itself_comes_is_remembered(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    tapped = phone.tap(60, 101)
    done = send(clinic, cast.crew, phone.body(undone=[tapped]))
    assert done.kept == [tapped] and TakenBack.objects.count() == 1
    for _ in range(2):
        send(clinic, cast.crew, phone.body(lines=phone.stored["lines"]))
    assert line_of(tapped).undone_at is not None
    assert not goes_of(clinic, 101) and not TakenBack.objects.exists()


def test_undoing_a_line_leaves_the_start_to_the_other_phone(cast: Cast, clinic: Clinic) -> None:
    liv, ida = SimPhone("phone-of-liv"), SimPhone("phone-of-ida")
    for phone in (liv, ida):
        phone.exchange(-30)
    tapped, _other = liv.tap(60, 101), ida.tap(60.3, 101)
    for phone in (liv, ida):
        send(clinic, cast.crew, phone.body())
    swim = goes_of(clinic, 101)[0]
    liv.undo(tapped)
    send(clinic, cast.crew, liv.body())
    (left,) = goes_of(clinic, 101)
    assert left.pk == swim.pk and off_ms(left, 60.3) < 50


def test_undoing_a_start_with_clips_is_refused_and_the_phone_is_told(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    tapped = phone.tap(60, 101)
    send(clinic, cast.crew, phone.body())
    swim = goes_of(clinic, 101)[0]
    Clip.objects.filter(pk=cast.clips["tomas"][0].pk).update(swim=swim)  # with its files
    phone.undo(tapped)
    phone.tap(150, 102)
    done = send(clinic, cast.crew, phone.body())
    (refused,) = done.refused
    assert (refused.kind, refused.client_id) == ("undone", tapped)
    assert "has clips or ties already" in refused.errors[0]
    assert done.settled.made == 1 and line_of(tapped).undone_at is None
    assert goes_of(clinic, 101) == [swim]


def test_swim_that_a_checker_took_away_is_not_made_again(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    phone.tap(60, 101)
    send(clinic, cast.crew, phone.body())
    was_no_swim(swim=goes_of(clinic, 101)[0], by=cast.checker)
    phone.exchange(900)
    other = SimPhone("phone-of-ida")
    other.tap(60.2, 101)
    other.exchange(900)
    for told in (phone, other):
        send(clinic, cast.crew, told.body())
    assert not goes_of(clinic, 101)


def test_undo_on_the_page_without_a_phone_goes_the_same_way(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    tapped = phone.tap(60, 101)
    send(clinic, cast.crew, phone.body())
    undo_start(clinic=clinic, client_id=tapped, by=cast.crew)
    send(clinic, cast.crew, phone.body())
    assert not goes_of(clinic, 101) and line_of(tapped).undone_at is not None


# --- notes, wishes, stations ----------------------------------------------------------------------


def test_newest_note_holds_and_an_erased_one_stays_away(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    tapped = phone.tap(60, 101, note="first", noted_ms=1000)
    (line,) = phone.stored["lines"]
    for note, noted_ms in (("third", 3000), ("second", 2000), ("first", 1000)):
        send(clinic, cast.crew, phone.body(lines=[line | {"note": note, "noted_ms": noted_ms}]))
    assert line_of(tapped).note == "third"
    StartLogEntry.objects.update(note="")  # as erasing somebody does
    send(clinic, cast.crew, phone.body(lines=[line | {"note": "third", "noted_ms": 3000}]))
    assert line_of(tapped).note == ""
    entry = Entry.objects.get(clinic=clinic, number=102)
    Swimmer.objects.filter(pk=entry.swimmer_id).update(name=ERASED)
    late = phone.tap(90, 102, note="Liv swam well")
    send(clinic, cast.crew, phone.body())
    assert line_of(late).note == ""


def test_newest_wish_holds_and_what_is_gone_stays_gone(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    late = {"from_ms": phone.wall_ms(1800)}
    phone.wish(60, 101, "late", **late)
    phone.wish(61, 101, "second-go")
    phone.wish(300, 101, "late", gone=True)
    phone.wish(70, 102, "late", **late)
    told = phone.stored["wishes"]
    for wishes in (told, told[::-1], told[:2]):
        send(clinic, cast.crew, phone.body(wishes=wishes))
    wishes = {(wish.entry.number, wish.kind): wish for wish in DayWish.objects.all()}
    assert set(wishes) == {(101, "second-go"), (102, "late")}
    assert wishes[102, "late"].from_at == at(1800 + 2.5)
    phone.wish(900, 101, "late", **late)
    send(clinic, cast.crew, phone.body())
    assert DayWish.objects.filter(entry__number=101).count() == 2


def test_station_words_are_kept_once_at_the_servers_time(
    cast: Cast, clinic: Clinic, phone: SimPhone
) -> None:
    word = {
        "client_id": "word-0001",
        "station": str(cast.start_side.pk),
        "state": "rolling",
        "wall_ms": phone.wall_ms(60),
    }
    foreign = word | {"client_id": "word-0002", "station": "7b1c2f7c-1b1c-4a54-9a6e-1f6f0c1f9d11"}
    phone.stored["station_words"] += [word, foreign]
    for _ in range(2):
        done = send(clinic, cast.crew, phone.body())
    assert [(one.kind, one.client_id) for one in done.refused] == [("station-word", "word-0002")]
    (kept,) = StationWord.objects.all()
    # the cast's day has not come for some years of these tests: then it is when the word came
    expected = min(at(60), timezone.now())
    assert (kept.state, abs(kept.at - expected) < dt.timedelta(seconds=5)) == ("rolling", True)


# --- what is refused -----------------------------------------------------------------------------


def test_bad_items_are_refused_one_by_one(cast: Cast, clinic: Clinic, phone: SimPhone) -> None:
    phone.tap(60, 101)
    cases = [
        (phone.tap(61, 999), "number 999 is not in the running order"),
        (phone.tap(62, 102, "swam"), "is none of: away"),
        (phone.tap(63, 103, monotonic_ms=-1), "“monotonic_ms” is no time"),
        (phone.tap(64, 104, wall_ms=None), "“wall_ms” is missing"),
        (phone.tap(65, 105, run="a b"), "run of the phone's clock"),
        (phone.tap(66, None, "no-show"), "does not say whose line"),
    ]
    phone.tap(150, 108)
    done = send(clinic, cast.crew, phone.body())
    assert (done.lines, done.settled.made) == (2, 2)
    told = {one.client_id: " ".join(one.errors) for one in done.refused}
    assert set(told) == {client_id for client_id, _words in cases}
    assert all(words in told[client_id] for client_id, words in cases)
    assert not set(told) & set(done.kept)


def test_closed_clinic_takes_nothing_in(cast: Cast, clinic: Clinic, phone: SimPhone) -> None:
    phone.tap(60, 101)
    Clinic.objects.filter(pk=clinic.pk).update(state="closed", closed_at=timezone.now())
    with pytest.raises(ClinicClosed):
        send(clinic, cast.crew, phone.body())
    assert not StartLogEntry.objects.filter(clinic=clinic).exists()
