"""The start log: instants of the pool's own clock, swims that follow, sending twice."""

from __future__ import annotations

import datetime as dt
import io
import zoneinfo
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from clinics.actions.errors import BadInput
from clinics.actions.log import TAP_U_MS, log_start, take_in_log, undo_start
from clinics.compute.log_file import parse_log
from clinics.models import Clinic, Recording, StartLogEntry, Swim
from portal.models import AuditEntry, Job
from tests.cast import DAY, FIRST_START, Cast, make_entry

DUBLIN = zoneinfo.ZoneInfo("Europe/Dublin")
HEAD = "instant,swimmer,outcome,note\n"


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """The cast's clinic with two swimmers who have not swum yet."""
    make_entry(cast.clinic, "Liv Marchetti", 21, None, "")
    make_entry(cast.clinic, "Oskar Brandt", 22, None, "")
    return cast.clinic


def errors_of(text: str, date: dt.date = DAY) -> dict[str, str]:
    with pytest.raises(BadInput) as caught:
        parse_log(text, zone=DUBLIN, date=date, numbers={1, 2, 3}, source="log.csv")
    return dict(caught.value.errors)


def swims_of(clinic: Clinic, number: int) -> list[Swim]:
    return list(Swim.objects.filter(entry__clinic=clinic, entry__number=number).order_by("go"))


# --- the file ---------------------------------------------------------------------------------


def test_instants_without_offset_are_in_the_clinics_zone() -> None:
    text = HEAD + "2026-07-04 10:12:30.250,1,,\n2026-07-04T10:13:30.25+00:00,2,away,\n"
    rows = parse_log(text, zone=DUBLIN, date=dt.date(2026, 7, 4), numbers={1, 2})
    assert [row.instant.astimezone(dt.UTC).isoformat() for row in rows] == [
        "2026-07-04T09:12:30.250000+00:00",
        "2026-07-04T10:13:30.250000+00:00",
    ]


def test_times_that_the_clocks_skip_or_show_twice_are_named() -> None:
    """Dublin in 2026 (tz database): forward on 29 March at 01:00, back on 25 October at 02:00."""
    skipped = errors_of(HEAD + "2026-03-29T01:30:00,1,away,\n", dt.date(2026, 3, 29))
    assert "does not exist" in skipped["log.csv, row 2, column “instant”"]
    twice = errors_of(HEAD + "2026-10-25T01:30:00,1,away,\n", dt.date(2026, 10, 25))
    assert "came twice" in twice["log.csv, row 2, column “instant”"]
    text = HEAD + "2026-10-25T01:30:00+01:00,1,away,\n"
    rows = parse_log(text, zone=DUBLIN, date=dt.date(2026, 10, 25), numbers={1})
    assert rows[0].instant.astimezone(dt.UTC).hour == 0


def test_every_bad_row_is_named() -> None:
    told = errors_of(
        HEAD
        + "yesterday,1,away,\n"
        + "2026-11-14,2,away,\n"
        + "2026-11-14T10:12:30,99,gone,\n"
        + "2025-11-14T10:12:30,1,away,\n"
    )
    assert set(told) == {
        "log.csv, row 2, column “instant”",
        "log.csv, row 3, column “instant”",
        "log.csv, row 4, column “swimmer”",
        "log.csv, row 4, column “outcome”",
        "log.csv, row 5, column “instant”",
    }
    assert "away, no-show, false-start, not-filmed" in told["log.csv, row 4, column “outcome”"]


def test_log_makes_a_swim_for_each_away_and_twice_changes_nothing(clinic: Clinic) -> None:
    text = HEAD + (
        "2026-11-14T11:20:00.5,21,false-start,\n"
        "2026-11-14T11:21:00.5,21,away,\n"
        "2026-11-14T11:40:00,21,away,second go\n"
        "2026-11-14T11:22:00,22,no-show,\n"
        "2026-11-14T11:23:00,22,not-filmed,\n"
    )
    before = Swim.objects.count()
    taken = take_in_log(clinic=clinic, text=text, by=None)
    assert (taken.added, taken.known, taken.swims) == (5, 0, 2)
    goes = swims_of(clinic, 21)
    assert [(swim.go, swim.start_kind, swim.start_u_ms) for swim in goes] == [
        (1, "tap", TAP_U_MS),
        (2, "tap", TAP_U_MS),
    ]
    assert goes[0].start_at == dt.datetime(2026, 11, 14, 11, 21, 0, 500_000, tzinfo=dt.UTC)
    again = take_in_log(clinic=clinic, text=text, by=None)
    assert (again.added, again.known, again.swims) == (0, 5, 0)
    assert Swim.objects.count() == before + 2


def test_same_row_twice_in_a_file_is_two_lines_but_one_start(clinic: Clinic) -> None:
    row = "2026-11-14T11:20:00,22,no-show,\n"
    assert take_in_log(clinic=clinic, text=HEAD + row * 2, by=None).added == 2
    away = "2026-11-14T11:21:00,21,away,\n"
    with pytest.raises(BadInput, match="logged away at 11:21:00"):
        take_in_log(clinic=clinic, text=HEAD + away + away.replace("00,21", "03,21"), by=None)
    assert swims_of(clinic, 21) == []


def test_one_bad_row_keeps_all_out(clinic: Clinic) -> None:
    text = HEAD + "2026-11-14T11:21:00,21,away,\n2026-11-14T11:22:00,77,away,\n"
    with pytest.raises(BadInput):
        take_in_log(clinic=clinic, text=text, by=None)
    assert not clinic.start_log.exists()


def test_planned_clinic_opens_with_its_first_start(clinic: Clinic) -> None:
    Clinic.objects.filter(pk=clinic.pk).update(state="planned")
    take_in_log(clinic=clinic, text=HEAD + "2026-11-14T11:21:00,21,away,\n", by=None)
    clinic.refresh_from_db()
    assert clinic.state == "open"


def test_command_ends_with_2_for_bad_input_and_names_the_row(
    clinic: Clinic, tmp_path: Path
) -> None:
    log = tmp_path / "starts.csv"
    log.write_text(HEAD + "2026-11-14T11:21:00,x,away,\n")
    with pytest.raises(CommandError, match="starts.csv, row 2, column “swimmer”") as caught:
        call_command("log_starts", clinic.slug, str(log))
    assert caught.value.returncode == 2
    with pytest.raises(CommandError, match="No clinic is called “nowhere”") as caught:
        call_command("log_starts", "nowhere", str(log))
    assert caught.value.returncode == 2
    log.write_text(HEAD + "2026-11-14T11:21:00,21,away,\n")
    out = io.StringIO()
    call_command("log_starts", clinic.slug, str(log), json=True, stdout=out)
    assert '"swims": 1' in out.getvalue()


# --- one line at a time ------------------------------------------------------------------------


def tap(clinic: Clinic, client_id: str, **kwargs: object) -> StartLogEntry:
    said = {
        "entry": clinic.entries.get(number=21),
        "instant": FIRST_START + dt.timedelta(hours=1),
        "outcome": "away",
        "by": None,
        **kwargs,
    }
    return log_start(clinic=clinic, client_id=client_id, **said)


def test_sending_a_tap_twice_changes_nothing(clinic: Clinic) -> None:
    first = tap(clinic, "phone-0001")
    again = tap(clinic, "phone-0001", instant=FIRST_START, outcome="no-show")
    assert again == first
    assert (again.outcome, again.instant) == ("away", FIRST_START + dt.timedelta(hours=1))
    assert len(swims_of(clinic, 21)) == 1
    assert AuditEntry.objects.filter(action="start.logged").count() == 1


def test_second_phones_tap_is_kept_without_a_second_swim(clinic: Clinic) -> None:
    tap(clinic, "phone-0001")
    tap(clinic, "other-0001", instant=FIRST_START + dt.timedelta(hours=1, seconds=0.4))
    assert clinic.start_log.filter(entry__number=21).count() == 2
    assert len(swims_of(clinic, 21)) == 1


@pytest.mark.parametrize("outcome", ["no-show", "false-start", "not-filmed"])
def test_other_outcomes_make_no_swim(clinic: Clinic, outcome: str) -> None:
    tap(clinic, "phone-0001", outcome=outcome)
    assert swims_of(clinic, 21) == []
    assert clinic.start_log.get(entry__number=21).outcome == outcome


def test_undo_takes_the_swim_away_and_keeps_the_line(clinic: Clinic) -> None:
    tap(clinic, "phone-0001")
    line = undo_start(clinic=clinic, client_id="phone-0001", by=None)
    assert line is not None and line.undone_at is not None
    assert swims_of(clinic, 21) == []
    tap(clinic, "phone-0001")  # sent once more, late: it stays undone
    assert swims_of(clinic, 21) == []
    assert undo_start(clinic=clinic, client_id="never-sent", by=None) is None


def test_start_with_clips_cannot_be_undone(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    line = StartLogEntry.objects.create(
        clinic=cast.clinic, client_id="phone-0009", entry=swim.entry, instant=swim.start_at
    )
    Swim.objects.filter(pk=swim.pk).update(log_entry=line)
    with pytest.raises(BadInput, match="clips"):
        undo_start(clinic=cast.clinic, client_id="phone-0009", by=cast.crew)
    assert Swim.objects.filter(pk=swim.pk).exists()


def test_a_start_logged_after_the_recordings_asks_for_its_clips(clinic: Clinic, cast: Cast) -> None:
    def asked() -> int:
        return Job.objects.filter(kind="align", subject_id=clinic.pk).count()

    take_in_log(clinic=clinic, text=HEAD + "2026-11-14T10:20:00,21,no-show,\n", by=cast.crew)
    assert asked() == 0  # nobody swam: nothing to cut
    take_in_log(clinic=clinic, text=HEAD + "2026-11-14T10:22:00,21,away,\n", by=cast.crew)
    assert asked() == 1
    Recording.objects.filter(station__clinic=clinic).update(state="failed")
    Job.objects.all().delete()
    take_in_log(clinic=clinic, text=HEAD + "2026-11-14T10:24:00,22,away,\n", by=cast.crew)
    assert asked() == 0
