"""What goes of a swim: its clips first, later the swim with all that was said."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from clinics.actions import purge_clips, purge_swims
from clinics.actions.give import give_swim
from clinics.actions.keeping_dates import date_swims
from clinics.models import Clip, ClipFile, Publication, Recognised, ShelfClip, Swim
from feedback.models import Comment, Drawing, FeedbackSent, Mark, TakeAlong
from portal.actions import ledger, purge
from portal.actions.audit import verify_chain
from portal.actions.files import MARKER
from portal.actions.jobs import enqueue
from portal.models import AuditEntry, Hold, Job, StoredFile
from tests.cast import DAY, Cast, build_cast, make_stored


@pytest.fixture
def cast(transactional_db: None, tmp_path: Path, settings: Any) -> Cast:
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.ORIGINALS_DIR = tmp_path / "originals"
    settings.LEDGER_FILE = tmp_path / "elsewhere" / "deletions.jsonl"
    cast = build_cast()
    (tmp_path / "media" / MARKER).touch()
    (tmp_path / "originals" / MARKER).touch()
    date_swims(Swim.objects.all())
    return cast


def due_since(cast: Cast, days: int) -> None:
    """The clinic was so long ago that today is so many days after the clips' date."""
    began = timezone.now() - dt.timedelta(days=days + 2 * 366)
    type(cast.clinic).objects.filter(pk=cast.clinic.pk).update(date=began.date())
    Clip.objects.filter(swim__entry__clinic=cast.clinic).update(created_at=began)
    Swim.objects.filter(entry__clinic=cast.clinic).update(person_at=began, delete_by=None)
    date_swims(Swim.objects.filter(entry__clinic=cast.clinic))


def files_of(swim: Swim) -> list[StoredFile]:
    rows = ClipFile.objects.filter(clip__swim=swim).select_related("stored", "pts_table")
    both = {row.stored for row in rows} | {row.pts_table for row in rows if row.pts_table}
    return list(both)


def talk_about(cast: Cast, swim: Swim) -> None:
    recording = cast.recordings["underwater"]
    at = {"swim": swim, "recording": recording, "pts_ticks": 3600}
    now = timezone.now()
    Comment.objects.create(**at, author=cast.coach, text="Breathe out under water", sent_at=now)
    Mark.objects.create(**at, kind="breakout", placed_by=cast.coach)
    size = {"width_px": 640, "height_px": 360}
    Drawing.objects.create(**at, **size, kind="pointer", points=[[0, 0]], author=cast.coach)
    FeedbackSent.objects.create(swim=swim, one_thing="Longer glide", sent_by=cast.coach)


def take_along(cast: Cast, swim: Swim) -> TakeAlong:
    clip = swim.clips.first()
    assert clip is not None
    stored = make_stored(cast.harbour, b"a still", kind="take-along", suffix=".jpg")
    StoredFile.objects.filter(pk=stored.pk).update(
        keeping_rule="take-along", delete_by=clip.delete_by
    )
    row = TakeAlong.objects.create(
        swim=swim,
        entry=swim.entry,
        clip_count=1,
        kind="still",
        spec={},
        asked_by=cast.tomas,
        stored=stored,
        state="ready",
    )
    row.clips.set([clip])
    return row


def hold(cast: Cast, kind: str, pk: Any) -> Hold:
    return Hold.objects.create(
        subject_kind=kind,
        subject_id=pk,
        reason="asked for by the insurer",
        owner=cast.admin,
        review_on=timezone.localdate(),
    )


def noted() -> set[tuple[str, str]]:
    return {(line.kind, line.id) for line in ledger.lines()}


def test_clips_go_with_every_file_and_what_was_said_stays(cast: Cast) -> None:
    tomas, other = cast.swims["tomas"], cast.swims["other"]
    talk_about(cast, tomas)
    files, clips = files_of(tomas), list(tomas.clips.all())
    ShelfClip.objects.create(clip=clips[0], fault="a", remedy="b")
    Publication.objects.create(clip=clips[0])
    made = take_along(cast, tomas)
    due_since(cast, days=1)
    purge.purge()
    assert not Clip.objects.filter(swim=tomas).exists()
    assert [file.local_path().exists() for file in files] == [False] * 15
    assert made.stored is not None and not made.stored.local_path().exists()
    assert not TakeAlong.objects.exists()
    assert not ShelfClip.objects.exists() and not Publication.objects.exists()
    tomas.refresh_from_db()
    assert tomas.clips_gone_at is not None
    for model in (Comment, Mark, Drawing, FeedbackSent):
        assert model.objects.filter(swim=tomas).count() == 1
    assert Clip.objects.filter(swim=other).count() == 1
    assert {("clinics.Clip", str(clip.pk)) for clip in clips} <= noted()
    assert {("portal.StoredFile", str(file.pk)) for file in files} <= noted()
    entries = AuditEntry.objects.filter(action="purge.clips", subject_id=str(tomas.pk))
    [told] = [json.loads(entry.text)["detail"] for entry in entries]
    assert (told["clips"], told["files"]) == (3, 15)
    assert told["size_bytes"] == sum(file.size_bytes for file in files)
    assert verify_chain().broken_at is None


def test_purged_twice_is_written_once(cast: Cast) -> None:
    due_since(cast, days=1)
    looked = {one.step.name: len(one.due) for one in purge.look()}
    done = {one.step.name: len(one.due) for one in purge.purge()}
    assert looked == done and done["clips"] == 3
    before = AuditEntry.objects.count(), len(list(ledger.lines()))
    assert all(not one.due for one in purge.purge())
    assert (AuditEntry.objects.count(), len(list(ledger.lines()))) == before


def test_a_look_counts_each_file_once(cast: Cast) -> None:
    """What was never given goes whole: clips and swim are due in the same instant."""
    due_since(cast, days=1)
    Swim.objects.filter(entry__clinic=cast.clinic).update(given_at=None, given_by=None)
    date_swims(Swim.objects.filter(entry__clinic=cast.clinic))
    type(cast.clinic).objects.filter(pk=cast.clinic.pk).update(
        state="closed", closed_at=timezone.now()
    )
    size = sum(
        file.size_bytes for key in ("tomas", "wren", "sol") for file in files_of(cast.swims[key])
    )
    looked = purge.look()
    assert {one.step.name: len(one.due) for one in looked}["swims"] == 3
    assert sum(one.size_bytes for one in looked) == size
    assert sum(one.size_bytes for one in purge.purge()) == size
    assert not Swim.objects.filter(entry__clinic=cast.clinic).exists()


def test_what_is_not_due_stays(cast: Cast) -> None:
    files = files_of(cast.swims["tomas"])
    assert all(not one.due for one in purge.look())
    purge.purge()
    assert all(file.local_path().exists() for file in files)
    assert Clip.objects.count() == 10


@pytest.mark.parametrize(
    "held",
    ["swim", "clip", "file", "table", "entry", "swimmer", "clinic", "recording"],
)
def test_what_is_held_stays_whole_and_goes_after_the_hold(cast: Cast, held: str) -> None:
    tomas = cast.swims["tomas"]
    clip = tomas.clips.order_by("pk")[0]
    video = ClipFile.objects.get(clip=clip, kind="video")
    kind, pk = {
        "swim": ("clinics.Swim", tomas.pk),
        "clip": ("clinics.Clip", clip.pk),
        "file": ("portal.StoredFile", video.stored_id),
        "table": ("portal.StoredFile", video.pts_table_id),
        "entry": ("clinics.Entry", tomas.entry_id),
        "swimmer": ("clinics.Swimmer", tomas.entry.swimmer_id),
        "clinic": ("clinics.Clinic", tomas.entry.clinic_id),
        "recording": ("clinics.Recording", clip.recording_id),
    }[held]
    kept = hold(cast, kind, pk)
    type(cast.clinic).objects.filter(pk=cast.clinic.pk).update(
        state="closed", closed_at=timezone.now()
    )
    due_since(cast, days=1000)  # the swims are due as well
    purge.purge()
    assert Clip.objects.filter(pk=clip.pk).exists()
    assert all(row.stored.local_path().exists() for row in ClipFile.objects.filter(clip=clip))
    assert not Clip.objects.filter(pk=clip.pk).visible_to(cast.tomas).exists()
    assert Swim.objects.filter(pk=tomas.pk).exists()
    [step] = [one for one in purge.look() if one.step.name == "swims"]
    assert step.held >= 1
    Hold.objects.filter(pk=kept.pk).update(ended_at=timezone.now())
    purge.purge()
    assert not Swim.objects.filter(pk=tomas.pk).exists()


def test_a_swim_goes_with_all_that_hangs_on_it(cast: Cast) -> None:
    tomas, wren = cast.swims["tomas"], cast.swims["wren"]
    talk_about(cast, tomas)
    talk_about(cast, wren)
    made = take_along(cast, tomas)
    Recognised.objects.create(swim=tomas, swimmer=wren.entry.swimmer)
    files = files_of(tomas)
    due_since(cast, days=1)
    held = hold(cast, "clinics.Swim", wren.pk)
    Swim.objects.filter(pk=tomas.pk).update(given_at=None, given_by=None)  # never given: all goes
    date_swims(Swim.objects.filter(pk=tomas.pk))
    type(cast.clinic).objects.filter(pk=cast.clinic.pk).update(
        state="closed", closed_at=timezone.now()
    )
    purge.purge()
    assert not Swim.objects.filter(pk=tomas.pk).exists()
    assert not any(file.local_path().exists() for file in files)
    assert made.stored is not None and not made.stored.local_path().exists()
    for model in (Comment, Mark, Drawing, FeedbackSent):
        assert set(model.objects.values_list("swim", flat=True)) == {wren.pk}
    assert not Recognised.objects.exists()
    assert ("clinics.Swim", str(tomas.pk)) in noted()
    entry = AuditEntry.objects.get(action="purge.swim", subject_id=str(tomas.pk))
    rows = json.loads(entry.text)["detail"]["rows"]
    assert rows["feedback.Comment"] == 1 and rows["clinics.Swim"] == 1
    assert held.pk and Swim.objects.filter(pk=wren.pk).exists()


def test_a_swim_that_is_given_between_the_look_and_the_deletion_stays(cast: Cast) -> None:
    """Its date is behind what is known by now."""
    tomas = cast.swims["tomas"]
    day_after = dt.datetime.combine(DAY, dt.time(), dt.UTC) + dt.timedelta(days=1)
    Clip.objects.filter(swim=tomas).update(delete_by=day_after)
    Swim.objects.filter(pk=tomas.pk).update(delete_by=day_after)
    [clips] = purge_clips.CLIPS_STEP.due(10)
    assert clips.id == tomas.pk
    assert purge_clips.CLIPS_STEP.delete(clips) is None
    assert purge_swims.SWIMS_STEP.delete(clips) is None
    assert Clip.objects.filter(swim=tomas).count() == 3
    tomas.refresh_from_db()
    assert tomas.delete_by is not None and tomas.delete_by > timezone.now()


def test_giving_at_the_last_moment_saves_the_swim(cast: Cast) -> None:
    tomas = cast.swims["tomas"]
    Swim.objects.filter(pk=tomas.pk).update(given_at=None, given_by=None)
    give_swim(swim=tomas, by=cast.coach)
    purge.purge()
    assert Clip.objects.filter(swim=tomas).count() == 3


def test_what_waits_to_be_made_of_a_clip_is_cancelled(cast: Cast) -> None:
    mine = enqueue(kind="render-clip", subject=cast.clips["tomas"][0])
    due_since(cast, days=1)
    purge.purge()
    assert Job.objects.get(pk=mine.pk).state == "cancelled"


def test_a_swim_without_a_line_in_the_log_waits_while_the_clinic_is_open(cast: Cast) -> None:
    """What nobody sees of a recording follows from who swam when."""
    due_since(cast, days=1000)
    purge.purge()
    assert Swim.objects.filter(entry__clinic=cast.clinic).count() == 3
    assert not Swim.objects.filter(entry__clinic=cast.clinic).visible_to(cast.coach).exists()
    type(cast.clinic).objects.filter(pk=cast.clinic.pk).update(
        state="closed", closed_at=timezone.now()
    )
    purge.purge()
    assert not Swim.objects.filter(entry__clinic=cast.clinic).exists()


def test_files_of_a_clip_that_was_made_again_do_not_stay_behind(cast: Cast) -> None:
    stray = make_stored(cast.harbour, b"old rendition", kind="video", suffix=".mp4")
    StoredFile.objects.filter(pk=stray.pk).update(delete_by=timezone.now())
    used = files_of(cast.swims["tomas"])[0]
    StoredFile.objects.filter(pk=used.pk).update(delete_by=timezone.now())
    kept = hold(cast, "portal.StoredFile", stray.pk)
    purge.purge()
    assert stray.local_path().exists()
    Hold.objects.filter(pk=kept.pk).update(ended_at=timezone.now())
    purge.purge()
    assert not stray.local_path().exists() and used.local_path().exists()


def test_after_a_crash_in_the_middle_of_a_swim_the_next_purge_ends_it(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    due_since(cast, days=1)
    tomas = cast.swims["tomas"]
    files = files_of(tomas)
    unlink, left = Path.unlink, [4]

    def fail_midway(path: Path, missing_ok: bool = False) -> None:
        left[0] -= 1
        if left[0] < 0:
            raise KeyboardInterrupt
        unlink(path, missing_ok=missing_ok)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", fail_midway)
        with pytest.raises(KeyboardInterrupt):
            purge.purge()
    clips = Clip.objects.filter(swim__entry__clinic=cast.clinic)
    assert clips.count() == 9 and not clips.visible_to(cast.tomas).exists()
    purge.purge()
    assert not any(file.local_path().exists() for file in files)
    assert not Clip.objects.filter(swim__entry__clinic=cast.clinic).exists()
