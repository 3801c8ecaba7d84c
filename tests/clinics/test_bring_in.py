"""Bringing in: real files from disk to recordings that are ready. ffprobe is the witness."""

from __future__ import annotations

import datetime as dt
import hashlib
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings

from clinics.actions import index, read_back
from clinics.actions.bring_in import Incoming, take_in, take_in_files
from clinics.actions.close_clinic import close_clinic
from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of
from clinics.actions.keeping import originals_delete_by
from clinics.compute.keeping import add_months, begin_of
from clinics.models import Recording, SourceFile
from portal.actions.job_worker import drain
from portal.models import AuditEntry, Job, StoredFile
from tests.cast import Cast
from tests.media.film import frame_times, make_film, split_at

X264 = ("-c:v", "libx264", "-preset", "ultrafast", "-g", "12")


@pytest.fixture(scope="module")
def films(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("films")
    sound = ("-c:a", "aac")
    ts = make_film(
        folder / "00012.ts", count=75, fps=25, video=X264, sound=sound, muxer=("-f", "mpegts")
    )
    parts = split_at(ts, (0.4,))
    return {
        "mp4": make_film(folder / "CLIP0007.MP4", count=50, fps=25, video=X264, sound=sound),
        "silent": make_film(folder / "CLIP0009.MP4", count=30, fps=25, video=X264, first=500),
        "ts": ts,
        "part 1": parts[0],
        "part 2": parts[1],
    }


@pytest.fixture(autouse=True)
def no_left_overs() -> Iterator[None]:
    """Whatever happens, nothing stays behind in the work folder."""
    yield
    work = Path(settings.WORK_DIR)
    assert [path.name for path in work.glob("*")] == []


def in_from_disk(cast: Cast, *paths: Path, camera: str = "Left") -> list[Recording]:
    return take_in_files(
        station=cast.start_side,
        paths_with_names=[(path, path.name) for path in paths],
        camera_name=camera,
        by=cast.crew,
    )


def originals_on_disk() -> set[Path]:
    return {path for path in Path(settings.ORIGINALS_DIR).rglob("*.*") if path.is_file()} - {
        Path(settings.ORIGINALS_DIR) / ".sidelane"
    }


@pytest.mark.django_db(transaction=True)
def test_a_file_becomes_a_recording_that_is_ready(cast: Cast, films: dict[str, Path]) -> None:
    [recording] = in_from_disk(cast, films["mp4"])
    assert recording.state == "waiting"
    drain()
    recording.refresh_from_db()
    assert recording.state == "ready", recording.reason
    assert (recording.frame_count, recording.has_sound) == (50, True)
    assert recording.duration_s == pytest.approx(2.0)
    assert (recording.width, recording.height) == (640, 360)
    assert (frames_of(recording) / 90_000).tolist() == pytest.approx(frame_times(films["mp4"]))
    [source] = recording.files.all()
    content = films["mp4"].read_bytes()
    assert source.stored.local_path().read_bytes() == content
    assert source.sha256 == hashlib.sha256(content).hexdigest()
    assert source.verified_at is not None
    assert source.stored.keeping_rule == "originals"
    looked = (recording.contact_strip,)
    for made in (recording.frame_table, recording.sound_envelope, recording.sound_track, *looked):
        assert made is not None and made.local_path().is_file()
    assert recording.sound_track.size_bytes == 2 * 2 * 8000  # 2 s, 16 bit, 8 kHz
    assert recording.contact_layout["frames"][0] == 0
    assert films["mp4"].exists()  # the card keeps its files
    assert AuditEntry.objects.filter(action="recording.bring-in").exists()


@pytest.mark.django_db(transaction=True)
def test_index_run_twice_changes_nothing(cast: Cast, films: dict[str, Path]) -> None:
    [recording] = in_from_disk(cast, films["silent"])
    drain()
    before = Recording.objects.values().get(pk=recording.pk)
    index.index(recording, lambda *_: None)
    assert Recording.objects.values().get(pk=recording.pk) == before
    assert before["sound_envelope_id"] is None and before["sound_track_id"] is None


@pytest.mark.django_db(transaction=True)
def test_the_same_file_is_said_to_be_here_already(cast: Cast, films: dict[str, Path]) -> None:
    [recording] = in_from_disk(cast, films["mp4"])
    [outcome] = take_in(
        station=cast.underwater,
        incoming=[Incoming(films["mp4"], "renamed.mp4")],
        camera_name="",
        by=cast.crew,
        copy=True,
    )
    assert (outcome.state, outcome.recording) == ("already", recording)
    assert "CLIP0007.MP4" in outcome.reason
    assert SourceFile.objects.filter(name="CLIP0007.MP4").count() == 1


@pytest.mark.django_db(transaction=True)
def test_split_files_are_one_recording_in_order(cast: Cast, films: dict[str, Path]) -> None:
    [recording] = in_from_disk(cast, films["part 2"], films["part 1"])
    drain()
    recording.refresh_from_db()
    assert recording.state == "ready", recording.reason
    assert [row.name for row in recording.files.all()] == ["00012_001.ts", "00012_002.ts"]
    whole = frame_times(films["ts"])  # what the camera wrote before it was split
    assert (frames_of(recording) / 90_000).tolist() == pytest.approx(
        [at - whole[0] for at in whole], abs=2e-5
    )


@pytest.mark.django_db(transaction=True)
def test_a_later_card_goes_on_with_the_recording(cast: Cast, films: dict[str, Path]) -> None:
    [recording] = in_from_disk(cast, films["part 1"])
    drain()
    first = frames_of(Recording.objects.get(pk=recording.pk))
    [same] = in_from_disk(cast, films["part 2"])
    assert same == recording
    drain()
    recording.refresh_from_db()
    assert recording.state == "ready", recording.reason
    frames = frames_of(recording)
    assert len(frames) == 75 > len(first)
    assert frames[: len(first) - 1].tolist() == first[:-1].tolist()  # nothing placed has moved
    tables = StoredFile.objects.filter(kind="frame-table", club=cast.harbour, state="deleted")
    assert tables.count() == 1  # the earlier table is gone


@pytest.mark.django_db(transaction=True)
def test_refused_files_leave_nothing_and_keep_nobody_out(
    cast: Cast, films: dict[str, Path], tmp_path: Path
) -> None:
    bad = {
        "empty.mp4": b"",
        "photo.mp4": b"\xff\xd8\xff\xe0\x00\x10JFIF" + b"\x00" * 400,
        "list.mp4": b"#EXTM3U\n#EXTINF:1,\n/etc/passwd\n",
        "cut.mp4": films["mp4"].read_bytes()[:4000],
    }
    for name, content in bad.items():
        (tmp_path / name).write_bytes(content)
    before = originals_on_disk()
    with pytest.raises(BadInput) as refusal:
        in_from_disk(cast, *(tmp_path / name for name in bad), films["silent"])
    assert {name for name, _ in refusal.value.errors} == set(bad)
    reasons = dict(refusal.value.errors)
    assert "empty" in reasons["empty.mp4"]
    assert len(originals_on_disk() - before) == 1
    assert SourceFile.objects.filter(name="CLIP0009.MP4").exists()
    assert not SourceFile.objects.filter(name__in=bad).exists()


@pytest.mark.django_db(transaction=True)
def test_a_stored_copy_that_reads_back_wrong_is_said(
    cast: Cast, films: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(row: SourceFile, report: object) -> bool:
        path = row.stored.local_path()
        path.write_bytes(path.read_bytes()[:-1] + b"?")  # what a failing disk might do
        return real(row, report)

    real = read_back._reads_back
    monkeypatch.setattr(read_back, "_reads_back", fails)
    with pytest.raises(BadInput, match="does not read back"):
        in_from_disk(cast, films["silent"])
    recording = Recording.objects.get(files__name="CLIP0009.MP4")
    assert recording.state == "failed"
    assert not Job.objects.filter(kind="index-recording", subject_id=recording.pk).exists()


@pytest.mark.django_db(transaction=True)
def test_a_damaged_stored_file_fails_with_a_reason(cast: Cast, films: dict[str, Path]) -> None:
    [recording] = in_from_disk(cast, films["silent"])
    path = recording.files.get().stored.local_path()
    path.write_bytes(path.read_bytes()[:200])
    drain()
    recording.refresh_from_db()
    assert recording.state == "failed"
    assert recording.reason
    assert Job.objects.get(subject_id=recording.pk).state == "failed"


@pytest.mark.django_db(transaction=True)
def test_recordings_stand_in_the_order_of_their_names(
    cast: Cast, films: dict[str, Path], tmp_path: Path
) -> None:
    ten = shutil.copy(films["mp4"], tmp_path / "CLIP10.MP4")
    nine = shutil.copy(films["silent"], tmp_path / "CLIP9.MP4")
    in_from_disk(cast, Path(ten))
    Recording.objects.filter(files__name="CLIP10.MP4").update(file_date=None)
    in_from_disk(cast, Path(nine))
    rows = Recording.objects.filter(camera__name="Left").order_by("order")
    assert [row.files.get().name for row in rows] == ["CLIP9.MP4", "CLIP10.MP4"]
    assert [row.order for row in rows] == [1, 2]


@pytest.mark.django_db(transaction=True)
def test_a_full_quota_refuses_before_copying(
    cast: Cast, films: dict[str, Path], settings: object
) -> None:
    settings.CLUB_QUOTA_BYTES = 1000  # type: ignore[attr-defined]
    with pytest.raises(BadInput, match="space for recordings is used up"):
        in_from_disk(cast, films["mp4"])


@pytest.mark.django_db(transaction=True)
def test_originals_are_kept_30_days_after_closing(cast: Cast, films: dict[str, Path]) -> None:
    [recording] = in_from_disk(cast, films["silent"])
    stored = recording.files.get().stored
    until = originals_delete_by(stored)
    assert until == begin_of(add_months(recording.brought_in_at.date(), 18))  # nobody closed it
    closed_at = dt.datetime(2026, 12, 1, 9, 0, tzinfo=dt.UTC)
    type(cast.clinic).objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=closed_at)
    assert originals_delete_by(stored) == closed_at + dt.timedelta(days=30)


@pytest.mark.django_db(transaction=True)
def test_closing_the_clinic_dates_its_originals(cast: Cast, films: dict[str, Path]) -> None:
    [recording] = in_from_disk(cast, films["silent"])
    closed = close_clinic(clinic=cast.clinic, by=cast.admin)
    stored = recording.files.get().stored
    assert stored.delete_by == closed.closed_at + dt.timedelta(days=30)
    elsewhere = SourceFile.objects.get(recording=cast.recordings["other"])
    assert elsewhere.stored.delete_by is None
