"""Cutting: that the files show exactly the planned frames.

Painted frame numbers are read back from the rendered files; ffprobe is the witness for what
the files hold.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import subprocess
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from clinics.actions import render_clips
from clinics.actions.bring_in import take_in_files
from clinics.actions.cut import plan_cuts
from clinics.actions.index import frames_of
from clinics.actions.render_clips import render
from clinics.media.frames import load_frame_table, load_key_frames
from clinics.models import (
    Clinic,
    Clip,
    ClipFile,
    ClockFit,
    Recording,
    Station,
    Swim,
)
from portal.actions.job_runs import JobFailed, JobStopped
from portal.actions.job_worker import drain
from portal.models import Job, StoredFile
from tests.cast import FIRST_START, Cast, make_swim
from tests.media.film import make_film, numbers_in, split_at

X264 = ("-c:v", "libx264", "-preset", "ultrafast", "-g", "12")
FRAMES = 200  # 8 s at 25 frames/s


def no_pulse(*_: object) -> None:
    """A pulse that nobody listens to."""


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """The cast's clinic before anything is cut."""
    ClipFile.objects.all().delete()
    Clip.objects.all().delete()
    return cast.clinic


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    """One recording in two files, as a camera splits it; frame n shows the number n."""
    folder = tmp_path_factory.mktemp("film")
    whole = make_film(
        folder / "00012.MTS",
        count=FRAMES,
        fps=25,
        video=X264,
        sound=("-c:a", "ac3"),
        muxer=("-f", "mpegts"),
    )
    return tuple(split_at(whole, (0.45,)))


@pytest.fixture
def filmed(cast: Cast, clinic: Clinic, film: tuple[Path, ...]) -> Clinic:
    """Two swims in one real recording; each clip crosses or touches the file join."""
    Recording.objects.filter(station__clinic=clinic).delete()
    take_in_files(
        station=cast.start_side,
        paths_with_names=[(path, path.name) for path in film],
        camera_name="Left",
        by=cast.crew,
    )
    drain(("render", "quick"))
    recording = Recording.objects.get(station__clinic=clinic)
    assert recording.files.count() == 2
    ClockFit.objects.update_or_create(
        recording=recording,
        defaults={
            "zero_at": FIRST_START - dt.timedelta(seconds=2),
            "u_ms": 10.0,
            "state": "sure",
            "method": "ties",
        },
    )
    Station.objects.filter(pk=cast.start_side.pk).update(
        windows=[{"pass": 1, "from_s": -1.0, "to_s": 2.6}]
    )
    Swim.objects.filter(pk=cast.swims["wren"].pk).update(
        start_at=FIRST_START + dt.timedelta(seconds=2.5)
    )
    return clinic


def probe(path: Path) -> dict:
    argv = ["ffprobe", "-v", "error", "-count_packets", "-of", "json", "-show_format"]
    argv += ["-show_streams", "-show_chapters", str(path)]
    return json.loads(subprocess.run(argv, check=True, capture_output=True).stdout)


def test_clip_shows_exactly_the_planned_frames(cast: Cast, filmed: Clinic) -> None:
    plan = plan_cuts(clinic=filmed)
    assert plan.added == 2
    drain(("render",))
    for swimmer, first, count in (("tomas", 25, 90), ("wren", 88, 90)):
        clip = Clip.objects.get(swim=cast.swims[swimmer])
        assert (clip.state, clip.reason) == ("ready", "")
        assert (clip.first_frame, clip.frame_count) == (first, count)
        kinds = sorted(clip.files.values_list("kind", flat=True))
        assert kinds == ["poster", "sound", "strip", "video"]
        video = clip.files.get(kind="video")
        path = video.stored.local_path()
        assert numbers_in(path) == list(range(first, first + count))
        told = probe(path)
        assert [stream["codec_type"] for stream in told["streams"]] == ["video"]
        assert int(told["streams"][0]["nb_read_packets"]) == count
        assert not told["chapters"] and "creation_time" not in told["format"].get("tags", {})
        table = load_frame_table(video.pts_table.local_path())
        frames = frames_of(clip.recording)[first : first + count]
        assert (table == frames - frames[0]).all()
        assert load_key_frames(video.pts_table.local_path())[0] == 0
        assert video.stored.size_bytes == path.stat().st_size
        assert video.stored.delete_by == clip.delete_by is not None
    assert not list(Path(settings.WORK_DIR).glob("render-*"))


def test_rendering_twice_leaves_the_same_files(cast: Cast, filmed: Clinic) -> None:
    plan_cuts(clinic=filmed)
    drain(("render",))
    before = list(ClipFile.objects.order_by("pk").values())
    clip = Clip.objects.get(swim=cast.swims["tomas"])
    render(clip, no_pulse)
    Clip.objects.filter(pk=clip.pk).update(state="ready")
    render_clips.run_render(Job.objects.filter(subject_id=clip.pk).first(), no_pulse)
    assert list(ClipFile.objects.order_by("pk").values()) == before


def test_moved_clip_gets_new_files_and_the_old_ones_go(
    cast: Cast, filmed: Clinic, django_capture_on_commit_callbacks: object
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        plan_cuts(clinic=filmed)
        drain(("render",))
    old = [file.stored.local_path() for file in ClipFile.objects.select_related("stored")]
    assert all(path.exists() for path in old)
    Station.objects.filter(pk=cast.start_side.pk).update(
        windows=[{"pass": 1, "from_s": -0.5, "to_s": 1.5}]
    )
    with django_capture_on_commit_callbacks(execute=True):
        assert plan_cuts(clinic=filmed).moved == 2
        drain(("render",))
    clip = Clip.objects.get(swim=cast.swims["tomas"])
    video = clip.files.get(kind="video")
    assert numbers_in(video.stored.local_path()) == list(range(38, 88))
    assert not any(path.exists() for path in old)
    assert StoredFile.objects.filter(state="deleted", keeping_rule="clips").count() == len(old) + 2
    with django_capture_on_commit_callbacks(execute=True):
        ClockFit.objects.update(state="not-found", zero_at=None, u_ms=None)
        assert plan_cuts(clinic=filmed).removed == 2
    assert not video.stored.local_path().exists()


def test_clip_that_moved_while_it_was_made_is_not_published(cast: Cast, filmed: Clinic) -> None:
    plan_cuts(clinic=filmed)
    clip = Clip.objects.get(swim=cast.swims["tomas"])
    Clip.objects.filter(pk=clip.pk).update(first_frame=30, frame_count=80)
    render(clip, no_pulse)  # it still works from the old row
    clip.refresh_from_db()
    assert clip.state != "ready"
    assert not clip.files.exists()


def test_cancelled_render_publishes_nothing_and_waits(cast: Cast, filmed: Clinic) -> None:
    plan_cuts(clinic=filmed)
    clip = Clip.objects.get(swim=cast.swims["tomas"])

    def stop(*_: object) -> None:
        raise JobStopped("cancelled")

    with pytest.raises(JobStopped):
        render(clip, stop)
    clip.refresh_from_db()
    assert (clip.state, clip.files.count()) == ("waiting", 0)
    assert not list(Path(settings.WORK_DIR).glob("render-*"))


def test_clip_that_cannot_be_made_says_why_and_can_be_tried_again(
    cast: Cast, filmed: Clinic
) -> None:
    recording = Recording.objects.get(station__clinic=filmed)
    original = recording.files.last().stored
    kept = original.local_path().read_bytes()
    original.local_path().write_bytes(b"\0" * 2000)
    plan_cuts(clinic=filmed)
    drain(("render",))
    clip = Clip.objects.get(swim=cast.swims["wren"])
    assert clip.state == "failed"
    assert clip.reason
    plan_cuts(clinic=filmed)
    assert not Job.objects.filter(kind="render-clip", state="waiting").exists()
    original.local_path().write_bytes(kept)
    plan_cuts(clinic=filmed, failed_again=True)
    drain(("render",))
    clip.refresh_from_db()
    assert (clip.state, clip.reason) == ("ready", "")


def test_deleted_original_is_said_to_be(cast: Cast, filmed: Clinic) -> None:
    plan_cuts(clinic=filmed)
    StoredFile.objects.filter(kind="original").update(state="deleted")
    with pytest.raises(JobFailed, match="deleted"):
        render(Clip.objects.first(), no_pulse)


def test_command_waits_tells_and_fails_with_1(cast: Cast, filmed: Clinic) -> None:
    out, err = io.StringIO(), io.StringIO()
    call_command("cut", filmed.slug, wait=True, json=True, stdout=out, stderr=err)
    told = json.loads(out.getvalue())
    assert told["clips"] == {"waiting": 0, "rendering": 0, "ready": 2, "failed": 0}
    assert "2 clips to make" in err.getvalue()
    clip = Clip.objects.first()
    clip.files.all().delete()
    Clip.objects.filter(pk=clip.pk).update(state="failed", reason="The disk is full.")
    original = Recording.objects.get(station__clinic=filmed).files.first().stored
    StoredFile.objects.filter(pk=original.pk).update(state="deleted")
    with pytest.raises(CommandError, match="start-side, pass 1: .*deleted") as caught:
        call_command("cut", filmed.slug, wait=True, stdout=out, stderr=err)
    assert caught.value.returncode == 1


def test_swim_of_a_new_go_is_cut_too(cast: Cast, filmed: Clinic) -> None:
    again = make_swim(cast.swims["tomas"].entry, FIRST_START + dt.timedelta(seconds=4), go=2)
    plan_cuts(clinic=filmed)
    assert Clip.objects.filter(swim=again).count() == 1
