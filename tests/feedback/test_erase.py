"""Erasing a person: listed, hidden, taken back, deleted and looked for again.

The search at the end is of everything: each table row by row, every file on disk, the outbox.
"""

from __future__ import annotations

import datetime as dt
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions import persons
from clinics.models import (
    Clip,
    Entry,
    StartLogEntry,
    Swim,
    Swimmer,
)
from feedback.models import Comment, Drawing, FeedbackSent
from portal.actions import audit, erase, export
from portal.actions.erase import ask_to_erase, what_goes
from portal.actions.job_worker import drain
from portal.actions.requests import person_of, take_back
from portal.models import (
    Hold,
    Job,
    OutboxMail,
    PersonRequest,
    StoredFile,
    User,
)
from tests.cast import FIRST_START, Cast, sign_in
from tests.feedback.erasing import (
    DISTINCT,
    EMAIL,
    NAME,
    WORDS,
    dump,
    files_holding,
    its_day_comes,
    person,
    roots,
    seed,
)


@pytest.fixture(autouse=True)
def empty_media() -> None:
    """Other tests leave files; the search is of all there are."""
    for root in roots():
        for path in root.rglob("*"):
            if path.is_file():
                path.unlink()


@pytest.mark.django_db
def test_what_will_go_is_listed_by_kind(cast: Cast) -> None:
    seed(cast)
    goes, stays = what_goes(person(cast))
    counts = {str(line.label): line.count for line in goes}
    assert counts["clips, with what was made of them"] == 3
    assert counts["comments on your swims, yours and other people’s"] == 2
    assert counts["your account: e-mail address, name, second factor"] == 1
    assert counts["your words on other people’s swims: replaced by “[erased]”"] == 1
    rows = [row for clip in cast.clips["tomas"] for row in clip.files.all()]
    files = {pk for row in rows for pk in (row.stored_id, row.pts_table_id) if pk}
    assert counts[str(erase.FILES)] == len(files) + 1  # and the sheet
    assert any("start log" in str(line.label) for line in stays)


def test_erasing_leaves_no_trace_anywhere(cast: Cast) -> None:
    """Name, address, file hash and bytes: in no table, no file, no mail; the chain still holds."""
    seeded = seed(cast)
    sign_in(Client(), cast.tomas)
    swimmer, ids = cast.swims["tomas"].entry.swimmer, [c.pk for c in cast.clips["tomas"]]
    export.ask_for_export(person=person(cast), by=cast.tomas)
    drain()
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    before = dump()
    assert NAME in before and EMAIL in before and seeded["video"].sha256 in before
    assert len(files_holding(DISTINCT)) == 4  # clip, paper, what was taken along, a worker's rest
    its_day_comes(row)

    assert row.state == "done", Job.objects.get(kind=erase.JOB_KIND).reason
    after = dump()
    for trace in (NAME, EMAIL, WORDS, seeded["video"].sha256, seeded["sheet"].sha256, "my sister"):
        assert trace.lower() not in after.lower(), trace
    assert files_holding(DISTINCT, NAME.encode(), EMAIL.encode()) == []
    assert not any(
        str(pk) in str(path) for pk in ids for path in Path(settings.WORK_DIR).rglob("*")
    )
    assert not User.objects.filter(pk=cast.tomas.pk).exists()
    assert not Clip.objects.filter(pk__in=ids).exists()
    swimmer.refresh_from_db()
    assert (swimmer.name, swimmer.email, swimmer.user) == (persons.ERASED, "", None)
    assert audit.verify_chain().broken_at is None


def test_erasing_leaves_what_others_have(cast: Cast) -> None:
    seeded = seed(cast)
    others = {c.pk for who in ("wren", "sol", "other") for c in cast.clips[who]}
    kept_files = set(
        StoredFile.objects.exclude(pk=seeded["sheet"].pk)
        .exclude(pk__in=[f.stored_id for c in cast.clips["tomas"] for f in c.files.all()])
        .exclude(pk__in=[f.pts_table_id for c in cast.clips["tomas"] for f in c.files.all()])
        .values_list("pk", flat=True)
    )
    its_day_comes(ask_to_erase(person=person(cast), by=cast.tomas))
    assert set(Clip.objects.values_list("pk", flat=True)) == others
    assert set(StoredFile.objects.filter(state="ready").values_list("pk", flat=True)) == kept_files
    assert all(f.local_path().exists() for f in StoredFile.objects.filter(state="ready"))
    own = Comment.objects.get(pk=seeded["own_elsewhere"].pk)
    assert (own.text, own.author, own.replies.count()) == ("[erased]", None, 1)
    assert Comment.objects.get(pk=seeded["naming"].pk).text == "Breathe as [erased] does."
    assert FeedbackSent.objects.get(pk=seeded["sent_to_wren"].pk).points == ["like [erased]"]
    mail = OutboxMail.objects.get(to="mara.lindqvist@harbourlane.example", body="[erased]")
    assert mail.subject == "[erased] asks"
    assert Swimmer.objects.filter(name="Wren Okada").exists()


def test_the_start_log_keeps_its_lines_without_the_name(cast: Cast) -> None:
    seeded = seed(cast)
    its_day_comes(ask_to_erase(person=person(cast), by=cast.tomas))
    line = StartLogEntry.objects.get(pk=seeded["line"].pk)
    assert (line.note, line.instant) == ("", FIRST_START)
    assert line.entry is not None and line.entry.swimmer.name == persons.ERASED
    other = StartLogEntry.objects.get(pk=seeded["other"].pk)
    assert other.note == "went after [erased]"
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)  # the clinic is open: when it began stays
    assert swim.passed_at is None and swim.given_at is None and swim.delete_by is not None
    assert not Swim.objects.handled_by(cast.checker).filter(pk=swim.pk).exists()


def test_in_a_closed_clinic_the_swim_goes_too(cast: Cast) -> None:
    cast.clinic.state, cast.clinic.closed_at = "closed", timezone.now()
    cast.clinic.save()
    its_day_comes(ask_to_erase(person=person(cast), by=cast.tomas))
    assert not Swim.objects.filter(pk=cast.swims["tomas"].pk).exists()
    lines = StartLogEntry.objects.filter(entry=cast.swims["tomas"].entry)
    assert [line.instant for line in lines] == [FIRST_START]  # it says what nobody sees


def test_who_swam_nowhere_leaves_no_row(cast: Cast) -> None:
    entry = cast.swims["tomas"].entry
    new = Swimmer.objects.create(club=cast.harbour, name="Ada Fenn", email="ada@fenn.example")
    Entry.objects.create(
        clinic=cast.clinic,
        swimmer=new,
        number=77,
        order=77,
        stroke="freestyle",
        lane_group=entry.lane_group,
        pace_s_per_100m=90,
    )
    found = persons.find(new.pk)
    assert found is not None
    its_day_comes(ask_to_erase(person=found, by=cast.admin))
    assert not Swimmer.objects.filter(pk=new.pk).exists()
    assert not Entry.objects.filter(number=77).exists()


def test_a_recording_of_one_alone_goes_with_its_original(cast: Cast) -> None:
    """At Quillmoor only Kit was filmed; at Harbour Lane others are in every recording."""
    recording = cast.recordings["other"]
    original = recording.files.get().stored
    assert original is not None and original.local_path().exists()
    its_day_comes(ask_to_erase(person=person(cast, "other"), by=cast.other_swimmer))
    assert not original.local_path().exists() and original.sha256 not in dump()
    recording.refresh_from_db()
    assert recording.frame_table is None and not recording.files.exists()
    shared = cast.recordings["start-side"].files.get().stored
    its_day_comes(ask_to_erase(person=person(cast), by=cast.tomas))
    assert shared is not None and shared.local_path().exists()


def test_another_who_is_recognised_stays_hidden(cast: Cast) -> None:
    """Wren's swim shows Tomas, who agreed. Nobody agrees for "erased": nobody sees it then."""
    seed(cast)
    assert Swim.objects.visible_to(cast.wren).filter(pk=cast.swims["wren"].pk).exists()
    its_day_comes(ask_to_erase(person=person(cast), by=cast.tomas))
    assert not Swim.objects.visible_to(cast.wren).filter(pk=cast.swims["wren"].pk).exists()


# --- before the day ------------------------------------------------------------------------------


def test_nothing_goes_before_its_day(cast: Cast) -> None:
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    assert row.act_at is not None and row.act_at - timezone.now() > dt.timedelta(days=6, hours=23)
    assert erase.ask_due() == 0
    erase.run_erase(Job(kind=erase.JOB_KIND, subject_id=row.pk), lambda *_told: None)
    assert Clip.objects.filter(swim=cast.swims["tomas"]).count() == 3


def test_hidden_at_once_from_all_but_the_swimmer(cast: Cast) -> None:
    pk = cast.swims["tomas"].pk
    assert Swim.objects.visible_to(cast.coach).filter(pk=pk).exists()
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    assert not Swim.objects.visible_to(cast.coach).filter(pk=pk).exists()
    assert not Swim.objects.handled_by(cast.checker).filter(pk=pk).exists()
    assert Swim.objects.visible_to(cast.tomas).filter(pk=pk).exists()
    take_back(request=row, by=cast.tomas)
    assert Swim.objects.visible_to(cast.coach).filter(pk=pk).exists()


def test_taken_back_nothing_has_happened(cast: Cast, client: Client) -> None:
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    sign_in(client, cast.tomas, fresh=False)
    answer = client.post(reverse("clinics:my-data-take-back", args=[row.pk]))
    assert answer.status_code in {302, 303}
    row.refresh_from_db()
    assert row.state == "taken-back"
    PersonRequest.objects.filter(pk=row.pk).update(act_at=timezone.now())
    assert erase.ask_due() == 0
    assert Clip.objects.filter(swim=cast.swims["tomas"]).count() == 3


def test_once_begun_it_cannot_be_taken_back(cast: Cast) -> None:
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    PersonRequest.objects.filter(pk=row.pk).update(act_at=timezone.now())
    with pytest.raises(Exception, match="no longer"):
        take_back(request=row, by=cast.tomas)


def test_what_is_held_waits(cast: Cast) -> None:
    hold = Hold.objects.create(
        subject_kind="clinics.Clip",
        subject_id=cast.clips["tomas"][1].pk,
        reason="a claim",
        owner=cast.admin,
        review_on=dt.date(2027, 1, 1),
    )
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    its_day_comes(row)
    assert row.state == "waiting"
    assert Clip.objects.filter(swim=cast.swims["tomas"]).count() == 3
    hold.ended_at = timezone.now()
    hold.save()
    assert erase.ask_due() == 0  # it is looked at again every hour
    Job.objects.update(finished_at=timezone.now() - dt.timedelta(hours=2))
    its_day_comes(row)
    assert row.state == "done"


# --- the account ---------------------------------------------------------------------------------


def test_the_account_stays_for_another_club(cast: Cast) -> None:
    elsewhere = cast.swims["other"].entry.swimmer
    Swimmer.objects.filter(pk=elsewhere.pk).update(user=cast.tomas, email=EMAIL)
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    its_day_comes(row)
    assert row.state == "done"
    assert User.objects.get(pk=cast.tomas.pk).email == EMAIL
    elsewhere.refresh_from_db()
    assert (elsewhere.name, elsewhere.user) == ("Kit Maddern", cast.tomas)
    assert Clip.objects.filter(swim=cast.swims["other"]).exists()


def test_the_account_stays_for_who_works_for_a_club(cast: Cast) -> None:
    swimmer = cast.swims["tomas"].entry.swimmer
    Swimmer.objects.filter(pk=swimmer.pk).update(user=cast.crew)
    row = ask_to_erase(person=person(cast), by=cast.crew)
    its_day_comes(row)
    assert row.state == "done" and User.objects.filter(pk=cast.crew.pk).exists()


# --- doing it twice, failing, and the certificate ------------------------------------------------


def test_a_second_attempt_goes_on_where_the_first_died(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    seed(cast)
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    PersonRequest.objects.filter(pk=row.pk).update(act_at=timezone.now())
    job = Job(kind=erase.JOB_KIND, subject_id=row.pk)
    ran: list[float] = []

    def dies(progress: float, *_told: Any) -> None:
        ran.append(progress)
        if len(ran) == 5:
            raise RuntimeError("killed")

    with pytest.raises(RuntimeError):
        erase.run_erase(job, dies)
    row.refresh_from_db()
    assert row.state == "running"
    erase.run_erase(job, lambda *_told: None)
    row.refresh_from_db()
    assert row.state == "done" and NAME not in dump()
    told = dict(row.certificate)
    erase.run_erase(job, lambda *_told: None)
    row.refresh_from_db()
    assert row.certificate == told


def test_what_failed_is_tried_again_after_an_hour(cast: Cast) -> None:
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    PersonRequest.objects.filter(pk=row.pk).update(act_at=timezone.now(), state="running")
    job = Job.objects.create(
        kind=erase.JOB_KIND,
        queue="quick",
        subject_kind=row._meta.label,
        subject_id=row.pk,
        state="failed",
        finished_at=timezone.now(),
    )
    assert erase.ask_due() == 0
    Job.objects.filter(pk=job.pk).update(finished_at=timezone.now() - erase.TRY_AGAIN * 2)
    assert erase.ask_due() == 1 and erase.ask_due() == 0


def test_a_file_that_stays_on_disk_is_no_success(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    PersonRequest.objects.filter(pk=row.pk).update(act_at=timezone.now())
    monkeypatch.setattr("clinics.actions.erase.take_off_disk", lambda stored: None)
    with pytest.raises(Exception, match="Not all is gone"):
        erase.run_erase(Job(kind=erase.JOB_KIND, subject_id=row.pk), lambda *_told: None)
    row.refresh_from_db()
    assert row.state == "running"


def test_the_certificate_counts_and_names_nobody(cast: Cast, client: Client) -> None:
    seed(cast)
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    assert client.get(reverse("portal:erased", args=[row.pk])).status_code == 404
    planned = len(
        {f.pk for step in erase.steps() if step.find for f in step.find(person(cast)).files}
    )
    its_day_comes(row)
    page = client.get(reverse("portal:erased", args=[row.pk]))  # nobody is signed in
    assert page.status_code == 200 and NAME not in page.text and EMAIL not in page.text
    told = client.get(reverse("portal:erased", args=[row.pk]), {"as": "json"}).json()
    assert len(told["files"]) == planned > 10
    assert all(file["gone"] for file in told["files"])
    assert told["deleted"]["clips"] == 3 and told["deleted"]["account"] == 1
    assert all(uuid.UUID(file["id"]) for file in told["files"])


def test_the_person_is_told_once_and_where_the_certificate_will_be(cast: Cast) -> None:
    row = ask_to_erase(person=person(cast), by=cast.tomas)
    again = ask_to_erase(person=person(cast), by=cast.tomas)
    assert again.pk == row.pk
    (mail,) = OutboxMail.objects.filter(to=EMAIL)
    assert reverse("portal:erased", args=[row.pk]) in mail.body


def test_an_admins_note_erases_who_has_no_account(cast: Cast, client: Client) -> None:
    Swimmer.objects.filter(pk=cast.swims["wren"].entry.swimmer_id).update(user=None)
    sign_in(client, cast.admin)
    client.post(
        reverse("portal:request-note", args=[cast.harbour.slug]),
        {"swimmer": cast.swims["wren"].entry.swimmer_id, "kind": "erase", "words": "by letter"},
    )
    row = PersonRequest.objects.get()
    assert (row.state, row.user, row.words) == ("waiting", None, "by letter")
    its_day_comes(row)
    assert row.state == "done" and row.words == ""
    assert person_of("clinics.Swimmer", row.subject_id).name == ""  # type: ignore[union-attr]
    assert Drawing.objects.count() == 0
