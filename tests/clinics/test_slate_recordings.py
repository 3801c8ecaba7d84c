"""From a file with a slate in it to ties that are right: brought in, indexed, looked through. The
films are drawn and encoded here, with imposed truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.io import wavfile

from clinics.actions import index
from clinics.actions.bring_in import take_in_files
from clinics.actions.look_through import look_through_recording
from clinics.actions.slate import take_in_slates
from clinics.actions.slow_motion import set_slow_motion
from clinics.compute.slate import clinic_code_of
from clinics.compute.slate_tones import rising_tone
from clinics.compute.time import from_epoch_s, seconds_between, ticks_to_media_s
from clinics.media.slate import SlateReader
from clinics.models import ClockFit, Recording, Tie
from portal.actions.job_worker import drain
from portal.models import AuditEntry, Job
from tests.cast import Cast
from tests.media.slate_film import Scene, film

ZERO_MS = 1_794_652_800_437.0
PLAIN = Scene(zero_ms=ZERO_MS, tone_u_ms=40, size=(480, 272), side_px=140.0)
TRAVEL_MS = 4.0
GROUPS = ("-c:v", "libx264", "-preset", "veryfast", "-crf", "26")


def sound(path: Path, seconds: float, late_ms: float = 0.0) -> Path:
    """Tones at the whole seconds of the clinic, on their way for some ms, in a noisy hall."""
    rate_hz = 48_000
    samples = np.random.default_rng(3).normal(0, 0.05, round(seconds * rate_hz))
    tone = rising_tone(rate_hz)
    first_s = (-ZERO_MS / 1000) % 1 + (TRAVEL_MS + late_ms) / 1000
    for at_s in np.arange(first_s, seconds - 0.3, 1.0):
        begin = round(at_s * rate_hz)
        samples[begin : begin + len(tone)] += 0.4 * tone
    wavfile.write(path, rate_hz, (32_000 * np.clip(samples, -1, 1)).astype(np.int16))
    return path


@pytest.fixture
def brought_in(cast: Cast, tmp_path: Path) -> Callable[..., Recording]:
    def bring(scene: Scene, seconds: float, *, key_every: int = 25, **more: Any) -> Recording:
        own = replace(scene, clinic=scene.clinic if "strange" in more else code_of(cast))
        path = tmp_path / "CLIP0001.MP4"
        film(
            path,
            own,
            seconds,
            sound=more.get("sound"),
            video=(*GROUPS, "-g", str(key_every), "-sc_threshold", "0"),
        )
        [row] = take_in_files(
            station=cast.start_side,
            paths_with_names=[(path, path.name)],
            camera_name="Left",
            by=cast.crew,
        )
        index.index(row, lambda progress: None)
        row.refresh_from_db()
        Job.objects.all().delete()
        return row

    return bring


def code_of(cast: Cast) -> str:
    return clinic_code_of(cast.clinic.pk)


def take_in(row: Recording) -> bool:
    """The key frames looked at as the job does it."""
    changed = take_in_slates(recording=row, pulse=lambda *_: None)
    row.refresh_from_db()
    return changed


def off_ms(tie: Tie) -> float:
    """How far a tie is from the truth; the fit takes half a frame off what stands on a frame."""
    event_s = ticks_to_media_s(tie.pts_ticks)
    if tie.kind == Tie.Kind.SLATE_SEEN:
        event_s -= 0.5 / PLAIN.fps
    assert tie.instant is not None
    return 1000 * (seconds_between(from_epoch_s(ZERO_MS / 1000), tie.instant) - event_s)


def test_a_slate_becomes_a_seen_and_a_heard_tie(
    cast: Cast, brought_in: Callable[..., Recording], tmp_path: Path
) -> None:
    row = brought_in(PLAIN, 4.0, sound=sound(tmp_path / "a.wav", 4.0))
    assert take_in(row)
    seen, heard = row.ties.order_by("-kind")
    assert (seen.kind, heard.kind) == ("slate-seen", "slate-heard")
    assert {seen.found_by, heard.found_by} == {"slate"}
    assert seen.pts_ticks in index.frames_of(row)
    assert abs(off_ms(seen)) <= seen.u_ms <= 22
    assert abs(off_ms(heard)) <= 2 and heard.u_ms <= 30
    assert row.notes == []
    assert AuditEntry.objects.filter(action="slates.taken-in").count() == 1
    assert Job.objects.filter(kind="align").count() == 1
    # Twice is the same as once: nothing is written, nothing asked for.
    assert not take_in(row)
    assert AuditEntry.objects.filter(action="slates.taken-in").count() == 1
    assert set(row.ties.values_list("pk")) == {(seen.pk,), (heard.pk,)}


def test_looking_through_finds_it(cast: Cast, brought_in: Callable[..., Recording]) -> None:
    row = brought_in(PLAIN, 3.0)
    look_through_recording(row, lambda *_: None)
    [seen] = row.ties.all()
    assert seen.kind == "slate-seen" and abs(off_ms(seen)) <= seen.u_ms
    drain()  # aligning was asked for
    fit = ClockFit.objects.get(recording=row)
    assert fit.zero_at is not None and fit.state != "not-found"
    assert abs(1000 * seconds_between(from_epoch_s(ZERO_MS / 1000), fit.zero_at)) <= seen.u_ms


def test_what_people_placed_stays(cast: Cast, brought_in: Callable[..., Recording]) -> None:
    row = brought_in(PLAIN, 3.0)
    by_hand = Tie.objects.create(
        recording=row, kind="instant", pts_ticks=3600, u_ms=9, instant=from_epoch_s(1_794_652_801)
    )
    stale = Tie.objects.create(
        recording=row,
        kind="slate-seen",
        found_by="slate",
        pts_ticks=0,
        u_ms=9,
        instant=from_epoch_s(1_794_652_801),
    )
    assert take_in(row)
    assert Tie.objects.filter(pk=by_hand.pk).exists()
    assert not Tie.objects.filter(pk=stale.pk).exists()
    [seen] = row.ties.filter(found_by="slate")
    assert abs(off_ms(seen)) <= seen.u_ms


def test_another_clinic_s_slate_is_told_and_not_used(
    cast: Cast, brought_in: Callable[..., Recording]
) -> None:
    strange = replace(PLAIN, clinic=clinic_code_of(cast.other_clinic.pk))
    row = brought_in(strange, 3.0, strange=True)
    assert not take_in(row)
    assert not row.ties.exists()
    [note] = row.notes
    assert note.startswith("Slate: at 0:00 the slate of another clinic is in the picture.")
    take_in(row)
    assert row.notes == [note]


def test_a_tone_leads_to_a_code_that_no_key_frame_shows(
    cast: Cast, brought_in: Callable[..., Recording], tmp_path: Path
) -> None:
    """Key frames five seconds apart; the phone is in the picture between two of them."""
    scene = replace(PLAIN, from_s=1.0, to_s=2.6)
    row = brought_in(scene, 4.0, key_every=125, sound=sound(tmp_path / "a.wav", 4.0))
    assert take_in(row)
    assert sorted(row.ties.values_list("kind", flat=True)) == ["slate-heard", "slate-seen"]


def test_a_silent_camera_with_few_key_frames_is_looked_at_as_a_whole(
    cast: Cast, brought_in: Callable[..., Recording]
) -> None:
    row = brought_in(replace(PLAIN, from_s=1.0, to_s=2.6), 4.0, key_every=125)
    assert not row.has_sound and take_in(row)
    [seen] = row.ties.all()
    assert seen.kind == "slate-seen" and abs(off_ms(seen)) <= seen.u_ms


def test_a_tone_without_a_code_counts_only_beside_another_tie(
    cast: Cast, brought_in: Callable[..., Recording], tmp_path: Path
) -> None:
    row = brought_in(replace(PLAIN, to_s=0.0), 4.0, sound=sound(tmp_path / "a.wav", 4.0))
    assert not take_in(row)
    assert not row.ties.exists()
    assert "its tone is heard, and no code can be read" in row.notes[0]
    Tie.objects.create(
        recording=row,
        kind="instant",
        pts_ticks=90_000,
        u_ms=40,
        instant=from_epoch_s(ZERO_MS / 1000 + 1.02),
    )
    assert take_in(row)
    [heard] = row.ties.filter(found_by="slate")
    assert heard.kind == "slate-heard" and abs(off_ms(heard)) <= 2
    assert heard.u_ms >= 60  # nobody said how late that phone's loudspeaker is


def test_slow_motion_asks_for_its_factor_and_then_counts(
    cast: Cast, brought_in: Callable[..., Recording]
) -> None:
    row = brought_in(replace(PLAIN, rate=2.0, to_s=3.5, exposure_ms=4.0), 4.0)
    assert not take_in(row)
    assert "about 2.0 s of the recording pass in one second of the slate's clock" in row.notes[0]
    set_slow_motion(recording=row, factor=2.0, by=cast.crew)
    drain()
    row.refresh_from_db()
    [seen] = row.ties.all()
    assert Job.objects.get(kind="read-slates").state == "done"
    assert seen.instant is not None and row.notes == []
    event_s = (ticks_to_media_s(seen.pts_ticks) - 0.5 / 25) / 2
    off = 1000 * (seconds_between(from_epoch_s(ZERO_MS / 1000), seen.instant) - event_s)
    assert abs(off) <= seen.u_ms


def test_nothing_is_done_for_a_clinic_that_is_closed(cast: Cast) -> None:
    cast.clinic.state, cast.clinic.closed_at = "closed", from_epoch_s(1_794_652_801)
    cast.clinic.save()
    row = Recording.objects.get(pk=cast.recordings["start-side"].pk)
    reader = SlateReader(hints=[5])
    assert not take_in_slates(recording=row, pulse=lambda *_: None, reader=reader)
