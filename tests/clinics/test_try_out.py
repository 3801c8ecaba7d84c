"""The try-out from begin to deleted, on real files: judged in a job, shown to few, gone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone

from clinics.actions import try_out as acts
from clinics.actions.errors import BadInput
from clinics.actions.try_out import Who
from clinics.actions.try_out_gone import STEP, erase_try_outs, find_try_outs
from clinics.actions.try_out_judge import judge_file
from clinics.models import (
    Clip,
    Consent,
    Recording,
    Station,
    Swimmer,
    TryOut,
    TryOutFile,
    TryOutStill,
)
from portal.actions.job_worker import drain
from portal.actions.purge import purge
from portal.models import AuditEntry, Hold, Job, StoredFile
from portal.registry import Person
from tests.cast import Cast
from tests.clinics.try_out_tools import film, hall, wall

FIRST_S, GAP_S = 2.2, 9.37
SMALL = wall(size=(640, 360))
pytestmark = pytest.mark.media


@pytest.fixture
def begun(cast: Cast) -> TryOut:
    tomas = Swimmer.objects.get(user=cast.tomas)
    return acts.begin(
        clinic=cast.clinic, who=[Who(tomas), Who(name="Ida Quist")], attested=True, by=cast.crew
    )


@pytest.fixture
def tapped(begun: TryOut, cast: Cast) -> TryOut:
    """The second 0.2 s late."""
    earlier = timezone.now() - dt.timedelta(minutes=5)
    TryOut.objects.filter(pk=begun.pk).update(begun_at=earlier)
    begun.refresh_from_db()
    first = timezone.now() - dt.timedelta(seconds=60)
    acts.tap(try_out=begun, which=1, at=first, by=cast.crew)
    second = first + dt.timedelta(seconds=GAP_S + 0.2)
    return acts.tap(try_out=begun, which=2, at=second, by=cast.crew)


Bring = Callable[..., TryOutFile]


@pytest.fixture
def bring(cast: Cast, tmp_path: Path) -> Bring:
    def brought(row: TryOut, source: Path, station: Station | None = None) -> TryOutFile:
        Path(settings.UPLOADS_DIR).mkdir(parents=True, exist_ok=True)
        path = Path(settings.UPLOADS_DIR) / f"{source.name}.form"
        path.write_bytes(source.read_bytes())
        file = acts.bring(
            try_out=row,
            station=station or cast.start_side,
            path=path,
            name=source.name,
            by=cast.crew,
        )
        drain()
        file.refresh_from_db()
        return file

    return brought


def short(folder: Path) -> Path:
    """What is judged of it does not matter."""
    return film(folder / "a.mp4", picture=SMALL, length_s=4.0)


def found(file: TryOutFile) -> dict[str, dict[str, Any]]:
    return {one["check"]: one for one in file.findings}


def on_disk() -> int:
    rows = StoredFile.objects.filter(keeping_rule="try-out")
    return sum(row.local_path().exists() for row in rows)


def test_a_good_camera_is_judged_fine(tapped: TryOut, bring: Bring, tmp_path: Path) -> None:
    """The true start, the true interval, and a camera clock that is four hours wrong."""
    assert tapped.first_start_at is not None
    began = tapped.first_start_at - dt.timedelta(seconds=FIRST_S, hours=4)
    path = film(
        tmp_path / "00007.mp4",
        sound=hall(13.0, (FIRST_S, FIRST_S + GAP_S)),
        date=began.strftime("%Y-%m-%dT%H:%M:%SZ"),
        fps=50,
    )
    file = bring(tapped, path)
    assert file.state == "judged", file.reason
    told = found(file)
    assert told["picture"]["state"] == "ok" and told["picture"]["numbers"]["rate"] == 50.0
    assert told["focus"]["what"] == "sharp" and told["light"]["what"] == "fine"
    assert told["steady"]["what"] == "still"
    assert told["start"]["what"] == "heard"
    assert told["start"]["numbers"]["first_s"] == pytest.approx(FIRST_S, abs=0.03)
    assert told["start"]["numbers"]["gap_s"] == pytest.approx(GAP_S, abs=0.002)
    assert told["clock"]["what"] == "starts"
    assert told["clock"]["numbers"]["date_off_s"] == pytest.approx(-4 * 3600, abs=2)
    assert file.stills.count() == 4
    assert not {"make", "model", "created_at"} & set(file.facts)  # nothing of the device


def test_a_file_that_is_no_film_says_so(tapped: TryOut, bring: Bring, tmp_path: Path) -> None:
    """A playlist is not opened, and a cut-off copy is told from a whole one."""
    playlist = tmp_path / "film.mp4"
    playlist.write_text("#EXTM3U\n#EXTINF:1,\nfile:///etc/passwd\n")
    file = bring(tapped, playlist)
    assert file.state == "failed" and "film.mp4" in file.reason and not file.stills.exists()
    whole = film(tmp_path / "whole.mp4", length_s=4.0)
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    file = bring(tapped, cut)
    assert file.state == "failed" and "Copy it from the card again" in file.reason
    assert not Job.objects.filter(state=Job.State.FAILED).exists()  # a finding, no broken job


def test_a_silent_file_is_told_from_one_without_sound(
    tapped: TryOut, bring: Bring, tmp_path: Path
) -> None:
    silent = film(tmp_path / "muted.mp4", picture=SMALL, sound=0 * hall(13.0, ()))
    assert found(bring(tapped, silent))["start"]["what"] == "silent"
    none = film(tmp_path / "none.mp4", length_s=4.0)
    told = found(bring(tapped, none))
    assert told["start"]["what"] == "no-sound" and told["clock"]["what"] == "none"


def test_a_hall_in_which_the_signal_is_not_heard(
    tapped: TryOut, bring: Bring, tmp_path: Path
) -> None:
    file = bring(tapped, film(tmp_path / "far.mp4", picture=SMALL, sound=hall(13.0, ())))
    assert found(file)["start"]["what"] == "not-found"


def test_a_blurred_and_shaken_picture_is_told(tapped: TryOut, bring: Bring, tmp_path: Path) -> None:
    blurred = film(tmp_path / "blurred.mp4", picture=wall(6.0), length_s=6.0)
    assert found(bring(tapped, blurred))["focus"]["what"] == "blurred"
    pushed = film(
        tmp_path / "pushed.mp4",
        picture=wall(size=(1920, 1080)),
        length_s=6.0,
        filters="crop=1280:720:if(gt(t\\,3)\\,300\\,100):100",
    )
    assert found(bring(tapped, pushed))["steady"]["what"] == "moved"


def test_interlaced_film_is_judged_by_its_fields(
    tapped: TryOut, bring: Bring, tmp_path: Path
) -> None:
    path = film(
        tmp_path / "fields.mp4",
        length_s=4.0,
        fps=50,
        filters="noise=alls=4:allf=t,interlace",
        flags=("-flags", "+ilme+ildct", "-x264opts", "tff=1"),
    )
    told = found(bring(tapped, path))
    assert told["picture"]["numbers"]["interlaced"] == 1.0
    assert told["picture"]["numbers"]["rate"] == pytest.approx(50.0, abs=0.1)
    assert told["focus"]["what"] == "sharp"


def test_starts_tapped_later_judge_again(
    begun: TryOut, bring: Bring, cast: Cast, tmp_path: Path
) -> None:
    sound = hall(13.0, (FIRST_S, FIRST_S + GAP_S))
    file = bring(begun, film(tmp_path / "a.mp4", picture=SMALL, sound=sound))
    assert found(file)["start"]["what"] == "no-taps"
    TryOut.objects.update(begun_at=timezone.now() - dt.timedelta(minutes=5))
    at = timezone.now() - dt.timedelta(minutes=1)
    acts.tap(try_out=begun, which=1, at=at, by=cast.crew)
    later = at + dt.timedelta(seconds=GAP_S)
    acts.tap(try_out=begun, which=2, at=later, by=cast.crew)
    assert TryOutFile.objects.get(pk=file.pk).state == "waiting"
    drain()
    file.refresh_from_db()
    assert found(file)["start"]["what"] == "heard" and file.stills.count() == 4
    assert on_disk() == 5  # the film and four stills: those of the first time are gone


def test_judging_may_run_twice(tapped: TryOut, bring: Bring, tmp_path: Path) -> None:
    file = bring(tapped, short(tmp_path))
    before = set(file.stills.values_list("pk", flat=True))
    judge_file(TryOutFile.objects.get(pk=file.pk), lambda *_args: None)
    assert set(file.stills.values_list("pk", flat=True)) == before
    TryOutFile.objects.filter(pk=file.pk).update(state="waiting")  # as if it had died at the end
    judge_file(TryOutFile.objects.get(pk=file.pk), lambda *_args: None)
    assert file.stills.count() == len(before) and on_disk() == 1 + len(before)


def test_nothing_of_it_becomes_a_recording_or_a_clip(
    tapped: TryOut, bring: Bring, tmp_path: Path
) -> None:
    clips, recordings = Clip.objects.count(), Recording.objects.count()
    bring(tapped, short(tmp_path))
    assert (Clip.objects.count(), Recording.objects.count()) == (clips, recordings)


# --- gone ---------------------------------------------------------------------------------------


def judged(tapped: TryOut, bring: Bring, tmp_path: Path) -> TryOutFile:
    file = bring(tapped, short(tmp_path))
    assert file.state == "judged" and on_disk() == 5
    return file


def assert_gone(row: TryOut) -> None:
    row.refresh_from_db()
    assert row.gone_at is not None and row.first_swimmer is None and row.second_name == ""
    assert on_disk() == 0 and not TryOutStill.objects.exists()
    assert not StoredFile.objects.filter(keeping_rule="try-out", state="ready").exists()


def test_the_button_deletes_all_footage_and_names_and_keeps_what_was_found(
    tapped: TryOut, bring: Bring, cast: Cast, tmp_path: Path
) -> None:
    file = judged(tapped, bring, tmp_path)
    acts.end(try_out=tapped, by=cast.crew)
    assert_gone(tapped)
    file.refresh_from_db()
    assert file.findings and file.stored is None and file.name == "" and file.brought_by is None
    said = "".join(
        AuditEntry.objects.filter(action__startswith="try-out").values_list("text", flat=True)
    )
    assert "Ida Quist" not in said and "try-out.end" in said


def test_it_goes_by_itself_when_its_hours_are_over(
    tapped: TryOut, bring: Bring, tmp_path: Path
) -> None:
    judged(tapped, bring, tmp_path)
    purge()
    assert on_disk() == 5
    TryOut.objects.update(delete_by=timezone.now() - dt.timedelta(seconds=1))
    StoredFile.objects.filter(keeping_rule="try-out").update(delete_by=timezone.now())
    reports = {report.step.name: report for report in purge()}
    assert reports["try-outs"].files == 5 and reports["files"].files == 0
    assert_gone(tapped)
    assert all(not report.gone for report in purge())  # and once more finds nothing


def test_its_hours_are_twelve(begun: TryOut) -> None:
    assert begun.delete_by - begun.begun_at == dt.timedelta(hours=12)


def test_it_goes_when_a_swimmer_agrees_no_longer(
    tapped: TryOut, bring: Bring, cast: Cast, tmp_path: Path
) -> None:
    file = judged(tapped, bring, tmp_path)
    assert TryOutFile.objects.visible_to(cast.checker).filter(pk=file.pk).exists()
    Consent.objects.filter(swimmer__user=cast.tomas).update(ended_at=timezone.now())
    assert not TryOutFile.objects.visible_to(cast.checker).exists()  # at once
    purge()
    assert_gone(tapped)


def test_a_hold_hides_it_and_keeps_it(
    tapped: TryOut, bring: Bring, cast: Cast, tmp_path: Path
) -> None:
    judged(tapped, bring, tmp_path)
    Hold.objects.create(
        subject_kind="clinics.Clinic",
        subject_id=cast.clinic.pk,
        reason="asked for by the insurer",
        owner=cast.admin,
        review_on=timezone.localdate(),
    )
    TryOut.objects.update(delete_by=timezone.now() - dt.timedelta(seconds=1))
    assert STEP.held() == 1 and STEP.due(10) == []
    with pytest.raises(BadInput, match="keeps this from deletion"):
        acts.end(try_out=tapped, by=cast.crew)
    assert on_disk() == 5 and not TryOutFile.objects.visible_to(cast.checker).exists()


@pytest.mark.parametrize("name", ["Tomas Birk", "Ida Quist"])
def test_erasing_a_person_deletes_the_try_out_they_swam_in(
    tapped: TryOut, bring: Bring, cast: Cast, tmp_path: Path, name: str
) -> None:
    judged(tapped, bring, tmp_path)
    tomas = Swimmer.objects.get(user=cast.tomas)
    pk = tomas.pk if name == tomas.name else Swimmer.objects.get(user=cast.wren).pk
    person = Person("clinics.Swimmer", pk, cast.harbour, name=name)
    assert find_try_outs(person).rows == {"try-outs": 1} and len(find_try_outs(person).files) == 5
    erase_try_outs(person)
    assert_gone(tapped)
    assert find_try_outs(person).rows == {"try-outs": 0}


def test_a_job_that_comes_late_brings_nothing_back(
    tapped: TryOut, bring: Bring, cast: Cast, tmp_path: Path
) -> None:
    """Deleted while it was being judged: nothing is published."""
    file = judged(tapped, bring, tmp_path)
    TryOutFile.objects.filter(pk=file.pk).update(state="waiting")
    stale = TryOutFile.objects.select_related("try_out__clinic__club", "station", "stored")
    late = stale.get(pk=file.pk)

    def pulse(progress: float) -> None:
        if progress > 0.9:
            acts.end(try_out=tapped, by=cast.crew)

    judge_file(late, pulse)
    assert_gone(tapped)
