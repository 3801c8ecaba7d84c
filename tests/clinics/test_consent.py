"""Recording and ending consent: who may, what it changes from the next request on."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from clinics.actions.consent import ConsentRefused, end_consent, record_consent
from clinics.actions.keeping import clips_delete_by
from clinics.models import Clinic, Clip, ClipFile, Consent, Swimmer
from portal.actions.jobs import enqueue
from portal.models import AuditEntry, Job, StoredFile
from portal.registry import keeping_rules
from tests.cast import FIRST_START, Cast, make_entry, sign_in

PURPOSE = "film-and-review"


@pytest.fixture
def bela(cast: Cast) -> Swimmer:
    """Entered, and has not agreed to anything."""
    entry = make_entry(cast.clinic, "Bela Roan", 9, None, "")
    entry.swimmer.consents.all().delete()
    return entry.swimmer


def current(swimmer: Swimmer) -> Any:
    return swimmer.consents.filter(ended_at__isnull=True)


def test_an_admin_records_it_once(cast: Cast, bela: Swimmer) -> None:
    first = record_consent(swimmer=bela, purpose=PURPOSE, by=cast.admin)
    assert record_consent(swimmer=bela, purpose=PURPOSE, by=cast.admin) == first
    assert current(bela).get().recorded_by == cast.admin
    noted = AuditEntry.objects.get(action="consent.record")
    assert noted.subject_id == str(bela.pk) and "Bela" not in noted.text


@pytest.mark.parametrize("who", ["coach", "checker", "crew", "tomas", "other_admin"])
def test_nobody_else_records_it(cast: Cast, bela: Swimmer, who: str) -> None:
    with pytest.raises(PermissionDenied):
        record_consent(swimmer=bela, purpose=PURPOSE, by=getattr(cast, who))
    assert not current(bela).exists()


def test_adults_only(cast: Cast, bela: Swimmer) -> None:
    bela.adult_attested_at = None
    bela.save()
    with pytest.raises(ConsentRefused, match="Bela Roan has not said to be 18 or older"):
        record_consent(swimmer=bela, purpose=PURPOSE, by=cast.admin)
    with pytest.raises(ConsentRefused, match="no such purpose"):
        record_consent(swimmer=bela, purpose="anything", by=cast.admin)
    assert not current(bela).exists()


def test_ending_keeps_the_history_and_may_be_given_again(cast: Cast) -> None:
    tomas = cast.swims["tomas"].entry.swimmer
    ended = end_consent(swimmer=tomas, purpose=PURPOSE, by=cast.admin)
    assert ended is not None and ended.ended_at is not None
    assert end_consent(swimmer=tomas, purpose=PURPOSE, by=cast.admin) is None
    record_consent(swimmer=tomas, purpose=PURPOSE, by=cast.admin)
    assert Consent.objects.filter(swimmer=tomas).count() == 2
    assert AuditEntry.objects.filter(action="consent.end").count() == 1


def test_the_swimmer_ends_the_own_and_nobody_elses(cast: Cast) -> None:
    with pytest.raises(PermissionDenied):
        end_consent(swimmer=cast.swims["wren"].entry.swimmer, purpose=PURPOSE, by=cast.tomas)
    assert end_consent(swimmer=cast.swims["tomas"].entry.swimmer, purpose=PURPOSE, by=cast.tomas)
    clips = Clip.objects.filter(swim=cast.swims["tomas"])
    assert clips.visible_to(cast.coach).count() == 0
    assert clips.visible_to(cast.tomas).count() == 3


def test_ending_cancels_what_waits_to_be_made_of_the_swimmer(cast: Cast) -> None:
    """Queued jobs included."""
    mine = enqueue(kind="render-clip", subject=cast.clips["tomas"][0])
    other = enqueue(kind="render-clip", subject=cast.clips["wren"][0])
    end_consent(swimmer=cast.swims["tomas"].entry.swimmer, purpose=PURPOSE, by=cast.admin)
    assert Job.objects.get(pk=mine.pk).state == "cancelled"
    assert Job.objects.get(pk=other.pk).state == "waiting"


def test_withdrawing_starts_deletion_and_the_swimmer_has_a_month_to_export(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The date stands on swim, clips and every file of theirs."""
    swim = cast.swims["tomas"]
    Clip.objects.update(delete_by=clips_delete_by(cast.clinic, cut_at=FIRST_START))
    soon = FIRST_START + dt.timedelta(days=1)
    first = cast.clips["tomas"][0]
    Clip.objects.filter(pk=first.pk).update(delete_by=soon)  # goes before that anyhow: stays so
    ended = end_consent(swimmer=swim.entry.swimmer, purpose=PURPOSE, by=cast.admin)
    until = ended.ended_at + dt.timedelta(days=30)
    swim.refresh_from_db()
    assert swim.delete_by == until
    dates = [clip.delete_by for clip in Clip.objects.filter(swim=swim).order_by("created_at")]
    assert dates == [soon, until, until]
    files = stored_files(swim.clips.exclude(pk=first.pk))
    assert len(files) == 2 * 5  # video, sound, poster, strip, table of frame times
    assert {file.delete_by for file in files} == {until}
    assert {file.keeping_rule for file in files} == {"withdrawn"}
    rule = keeping_rules.get("withdrawn")
    assert {rule.delete_by(file) for file in files} == {until}
    wren = cast.swims["wren"]
    wren.refresh_from_db()
    assert wren.delete_by is None
    assert {file.keeping_rule for file in stored_files(wren.clips.all())} == {"clips"}

    later = Clip.objects.filter(swim=swim).exclude(pk=first.pk)
    assert later.visible_to(cast.tomas).count() == 2
    monkeypatch.setattr("django.utils.timezone.now", lambda: until)
    assert later.visible_to(cast.tomas).count() == 0


def test_agreeing_again_lifts_the_deletion(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    end_consent(swimmer=swim.entry.swimmer, purpose=PURPOSE, by=cast.admin)
    record_consent(swimmer=swim.entry.swimmer, purpose=PURPOSE, by=cast.admin)
    swim.refresh_from_db()
    assert swim.delete_by == dt.datetime(2029, 11, 14, tzinfo=dt.UTC)  # 36 months
    for clip in swim.clips.all():
        at_most = clips_delete_by(cast.clinic, cut_at=clip.created_at)
        assert clip.delete_by == at_most
        told = {(f.keeping_rule, f.delete_by) for f in stored_files(swim.clips.filter(pk=clip.pk))}
        assert told == {("clips", at_most)}


def stored_files(clips: Any) -> list[StoredFile]:
    rows = ClipFile.objects.filter(clip__in=clips)
    found = {row.stored for row in rows} | {row.pts_table for row in rows if row.pts_table}
    return list(found)


def test_who_agrees_after_swimming_is_cut_and_nothing_else_is_asked(
    cast: Cast, bela: Swimmer
) -> None:
    record_consent(swimmer=bela, purpose=PURPOSE, by=cast.admin)
    assert not Job.objects.filter(kind="align").exists()  # has not swum yet
    sol = cast.swims["sol"].entry.swimmer
    record_consent(swimmer=sol, purpose=PURPOSE, by=cast.admin)
    asked = Job.objects.get(kind="align")
    assert (asked.subject_id, asked.asked_by) == (cast.clinic.pk, cast.admin)


def test_a_closed_clinic_is_not_cut_again(cast: Cast) -> None:
    Clinic.objects.update(state="closed", closed_at=timezone.now())
    record_consent(swimmer=cast.swims["sol"].entry.swimmer, purpose=PURPOSE, by=cast.admin)
    assert not Job.objects.filter(kind="align").exists()


# --- the page -----------------------------------------------------------------------------------


def url(name: str, cast: Cast, swim: str = "") -> str:
    args = [cast.clinic.pk, cast.swims[swim].entry.pk] if swim else [cast.clinic.pk]
    return reverse(f"clinics:{name}", args=args)


def test_the_list_says_since_when_and_by_whom_without_footage(cast: Cast, bela: Swimmer) -> None:
    record_consent(swimmer=bela, purpose=PURPOSE, by=cast.admin)
    page = sign_in(Client(), cast.admin).get(url("consent", cast)).content.decode()
    assert "Mara Lindqvist" in page and "Bela Roan" in page
    assert "agreed until" in page  # Sol
    assert "clip-files" not in page
    assert "Kit Maddern" not in page


def test_one_click_each_way(cast: Cast) -> None:
    """Withdrawing takes no more clicks than giving."""
    client = sign_in(Client(), cast.admin)
    tomas = cast.swims["tomas"].entry.swimmer
    answer = client.post(url("consent-end", cast, "tomas"))
    assert answer.status_code == 302 and not current(tomas).exists()
    assert answer["Location"].endswith("#entry-1")
    page = client.get(url("consent", cast)).content.decode()
    day = timezone.localtime(timezone.now() + dt.timedelta(days=30), cast.clinic.zone)
    assert page.count(f"for the swimmer alone, until {date_format(day, 'DATE_FORMAT')}") == 1
    client.post(url("consent-record", cast, "tomas"))
    assert current(tomas).exists()
    assert "for the swimmer alone, until" not in client.get(url("consent", cast)).content.decode()


def test_recording_asks_for_a_fresh_sign_in_and_ending_never(cast: Cast) -> None:
    client = sign_in(Client(), cast.admin, fresh=False)
    sol, tomas = cast.swims["sol"].entry.swimmer, cast.swims["tomas"].entry.swimmer
    answer = client.post(url("consent-record", cast, "sol"))
    assert answer.status_code == 303 and not current(sol).exists()
    client.post(url("consent-end", cast, "tomas"))
    assert not current(tomas).exists()


def test_a_refusal_is_said_on_the_page(cast: Cast, bela: Swimmer) -> None:
    Swimmer.objects.filter(pk=bela.pk).update(adult_attested_at=None)
    entry = bela.entries.get()
    client = sign_in(Client(), cast.admin)
    answer = client.post(
        reverse("clinics:consent-record", args=[cast.clinic.pk, entry.pk]), follow=True
    )
    assert "has not said to be 18 or older" in answer.content.decode()
    assert not current(bela).exists()


def test_an_entry_of_another_clinic_is_absent(cast: Cast) -> None:
    client = sign_in(Client(), cast.admin)
    elsewhere = cast.swims["other"].entry.pk
    for name in ("consent-record", "consent-end"):
        answer = client.post(reverse(f"clinics:{name}", args=[cast.clinic.pk, elsewhere]))
        assert answer.status_code == 404
