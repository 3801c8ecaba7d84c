"""What goes of a clinic's records and of people when their time has come."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from clinics.actions import purge_originals, purge_people
from clinics.actions.keeping import date_originals
from clinics.actions.keeping_dates import date_swims
from clinics.actions.upload_parts import part_path
from clinics.models import (
    BoardAct,
    Clinic,
    Clip,
    Consent,
    Custody,
    Entry,
    Recording,
    SourceFile,
    StartLogEntry,
    Swim,
    Swimmer,
    Upload,
)
from portal.actions import ledger, purge
from portal.actions.files import MARKER
from portal.models import AuditEntry, Hold, StoredFile
from tests.cast import Cast, build_cast, make_stored


@pytest.fixture
def cast(transactional_db: None, tmp_path: Path, settings: Any) -> Cast:
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.ORIGINALS_DIR = tmp_path / "originals"
    settings.UPLOADS_DIR = tmp_path / "uploads"
    settings.LEDGER_FILE = tmp_path / "elsewhere" / "deletions.jsonl"
    cast = build_cast()
    for folder in ("media", "originals", "uploads"):
        (tmp_path / folder).mkdir(exist_ok=True)
        (tmp_path / folder / MARKER).touch()
    return cast


def close(clinic: Clinic, *, days_ago: int) -> Clinic:
    closed_at = timezone.now() - dt.timedelta(days=days_ago)
    Clinic.objects.filter(pk=clinic.pk).update(state="closed", closed_at=closed_at)
    clinic.refresh_from_db()
    date_originals(clinic=clinic)
    return clinic


def long_ago(cast: Cast) -> None:
    """All of the clinic lies four years back, and was closed then."""
    then = timezone.now() - dt.timedelta(days=4 * 366)
    Clinic.objects.filter(pk=cast.clinic.pk).update(date=then.date())
    Clip.objects.filter(swim__entry__clinic=cast.clinic).update(created_at=then)
    Swim.objects.filter(entry__clinic=cast.clinic).update(person_at=then)
    Swimmer.objects.filter(club=cast.harbour).update(created_at=then)
    close(cast.clinic, days_ago=4 * 366)
    date_swims(Swim.objects.filter(entry__clinic=cast.clinic))


def hold(cast: Cast, kind: str, pk: Any) -> Hold:
    return Hold.objects.create(
        subject_kind=kind,
        subject_id=pk,
        reason="asked for by the insurer",
        owner=cast.admin,
        review_on=timezone.localdate(),
    )


def of_step(name: str) -> purge.StepReport:
    [report] = [one for one in purge.purge() if one.step.name == name]
    return report


def strip_of(cast: Cast, recording: Recording) -> StoredFile:
    strip = make_stored(cast.harbour, b"a row of stills", kind="contact-strip", suffix=".jpg")
    StoredFile.objects.filter(pk=strip.pk).update(keeping_rule="recording")
    Recording.objects.filter(pk=recording.pk).update(contact_strip=strip)
    return strip


def test_originals_go_with_what_shows_like_them_and_the_clips_stay(cast: Cast) -> None:
    recording = cast.recordings["underwater"]
    strip, source = strip_of(cast, recording), recording.files.get()
    close(cast.clinic, days_ago=29)
    assert of_step("originals").due == []
    close(cast.clinic, days_ago=31)
    report = of_step("originals")
    assert {one.id for one in report.due} == {
        recording.pk,
        cast.recordings["start-side"].pk,
    }
    assert not source.stored.local_path().exists() and not strip.local_path().exists()
    assert recording.frame_table is not None and recording.frame_table.local_path().exists()
    assert SourceFile.objects.get(pk=source.pk).name == "00012.MTS"  # the row stays
    assert cast.recordings["other"].files.get().stored.local_path().exists()
    assert Clip.objects.count() == 10
    entry = AuditEntry.objects.get(action="purge.originals", subject_id=str(recording.pk))
    assert json.loads(entry.text)["detail"]["files"] == 2
    assert of_step("originals").due == []


@pytest.mark.parametrize("held", ["recording", "clinic", "source", "file"])
def test_held_originals_stay(cast: Cast, held: str) -> None:
    recording = cast.recordings["underwater"]
    source = recording.files.get()
    kind, pk = {
        "recording": ("clinics.Recording", recording.pk),
        "clinic": ("clinics.Clinic", cast.clinic.pk),
        "source": ("clinics.SourceFile", source.pk),
        "file": ("portal.StoredFile", source.stored_id),
    }[held]
    kept = hold(cast, kind, pk)
    close(cast.clinic, days_ago=31)
    report = of_step("originals")
    assert report.held >= 1 and source.stored.local_path().exists()
    Hold.objects.filter(pk=kept.pk).update(ended_at=timezone.now())
    of_step("originals")
    assert not source.stored.local_path().exists()


def test_a_clinic_opened_again_between_the_look_and_the_deletion_keeps_its_originals(
    cast: Cast,
) -> None:
    close(cast.clinic, days_ago=31)
    due = purge_originals.ORIGINALS_STEP.due(10)
    assert len(due) == 2
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="open", closed_at=None)
    assert [purge_originals.ORIGINALS_STEP.delete(one) for one in due] == [None, None]


def test_what_is_left_of_uploads_goes_with_its_part(cast: Cast) -> None:
    def upload(state: str, days_ago: int) -> Upload:
        row = Upload.objects.create(
            station=cast.start_side,
            owner=cast.crew,
            name="a.mp4",
            size_bytes=3,
            offset_bytes=3,
            state=state,
            expires_at=timezone.now() - dt.timedelta(days=days_ago),
        )
        part_path(row).write_bytes(b"abc")
        return row

    old, young, whole = upload("ended", 8), upload("taken", 6), upload("complete", 8)
    report = of_step("uploads")
    assert [one.id for one in report.due] == [old.pk]
    assert (report.files, report.size_bytes) == (1, 3)
    assert not part_path(old).exists() and part_path(whole).exists()
    assert set(Upload.objects.values_list("pk", flat=True)) == {young.pk, whole.pk}


def test_in_the_end_nobodys_name_stands_in_the_clinics_records(cast: Cast) -> None:
    line = StartLogEntry.objects.create(
        clinic=cast.clinic,
        client_id="a",
        entry=cast.swims["tomas"].entry,
        instant=timezone.now(),
        logged_by=cast.crew,
    )
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(log_entry=line)
    BoardAct.objects.create(clinic=cast.clinic, kind="confirm", by=cast.checker)
    Custody.objects.create(clinic=cast.clinic, kind="card", label="A 1", holder="Petra Voss")
    tables = [cast.recordings[name].frame_table for name in ("start-side", "underwater")]
    long_ago(cast)
    purge.purge()
    assert not Swim.objects.filter(entry__clinic=cast.clinic).exists()
    for model in (Entry, StartLogEntry, BoardAct, Custody):
        assert not model._base_manager.filter(clinic=cast.clinic).exists()
    assert not Recording.objects.filter(station__clinic=cast.clinic).exists()
    assert not any(table.local_path().exists() for table in tables if table)
    assert not Swimmer.objects.filter(club=cast.harbour).exists()
    assert Clinic.objects.filter(pk=cast.clinic.pk).exists()  # its plan names nobody
    assert Entry.objects.filter(clinic=cast.other_clinic).count() == 1
    assert Swimmer.objects.filter(club=cast.quillmoor).count() == 1
    noted = {line.kind for line in ledger.lines()}
    assert {"clinics.Entry", "clinics.Recording", "clinics.Swimmer", "clinics.Swim"} <= noted
    assert all(not one.due for one in purge.purge())


def test_records_of_a_clinic_of_which_something_is_held_stay(cast: Cast) -> None:
    swimmer = cast.swims["tomas"].entry.swimmer
    kept = hold(cast, "clinics.Swimmer", swimmer.pk)
    long_ago(cast)
    purge.purge()
    assert Entry.objects.filter(clinic=cast.clinic).count() == 3
    assert Swim.objects.filter(entry__swimmer=swimmer).exists()
    Hold.objects.filter(pk=kept.pk).update(ended_at=timezone.now())
    purge.purge()
    assert not Entry.objects.filter(clinic=cast.clinic).exists()
    assert not Swimmer.objects.filter(pk=swimmer.pk).exists()


def test_who_is_still_in_a_clinic_stays_by_name(cast: Cast) -> None:
    Swimmer.objects.update(created_at=timezone.now() - dt.timedelta(days=4 * 366))
    assert purge_people.SWIMMERS_STEP.due(10) == []


def test_a_sheet_goes_long_after_all_that_was_agreed_on_it_ended(cast: Cast) -> None:
    swimmer = cast.swims["tomas"].entry.swimmer
    sheet = make_stored(cast.harbour, b"a photo of paper", kind="consent-sheet", suffix=".jpg")
    first = Consent.objects.get(swimmer=swimmer)
    second = Consent.objects.create(swimmer=swimmer, purpose="publish", sheet=sheet)
    Consent.objects.filter(pk=first.pk).update(sheet=sheet)
    long = timezone.now() - dt.timedelta(days=4 * 366)
    Consent.objects.filter(pk=first.pk).update(ended_at=long)
    assert of_step("consent-sheets").due == []  # the other one is in force
    Consent.objects.filter(pk=second.pk).update(ended_at=timezone.now())
    assert of_step("consent-sheets").due == []  # and has ended only now
    Consent.objects.filter(pk=second.pk).update(ended_at=long)
    kept = hold(cast, "clinics.Swimmer", swimmer.pk)
    assert of_step("consent-sheets").due == []
    Hold.objects.filter(pk=kept.pk).delete()
    assert len(of_step("consent-sheets").due) == 1
    assert not sheet.local_path().exists()
    assert Consent.objects.filter(swimmer=swimmer, sheet=None).count() == 2  # history stays
