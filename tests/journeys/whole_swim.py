"""A whole swim of 50 m in one view, whose every picture carries its frame's number, and the frames
on which its events are. The events are those of a swimmer of the demo."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from clinics.management.demo.motion import Go
from clinics.media.index import index_take
from clinics.media.probe import probe
from clinics.media.render import RenderedClip, render_clip
from clinics.media.render_plan import RenditionSpec
from clinics.media.take import Take
from clinics.models import Clip, ClipFile, ClockFit, Swim
from feedback.management.demo_swum import dive_s, hands_in_s, head_reaches_s
from tests.cast import Cast, make_stored
from tests.feedback.painted_swim import FPS, _table, draw_recording, true_ticks

FIRST, COUNT = 490, 800  # of the recording's frames
GO = Go(28.0, "freestyle", from_water=False)
PACE_S_PER_100M = 60.0  # as this swimmer gave it, before


def make_whole(folder: Path) -> RenderedClip:
    path = folder / "whole.mp4"
    draw_recording(path, "underwater")
    take = Take((path,), (probe(path, shown_name=path.name),))
    for name in ("index", "out", "work"):
        (folder / name).mkdir()
    ticks = index_take(take, work_dir=folder / "index").frame_pts
    assert np.array_equal(ticks, true_ticks("underwater"))
    return render_clip(
        take,
        ticks,
        FIRST,
        COUNT,
        renditions=[RenditionSpec(180)],
        out_dir=folder / "out",
        work_dir=folder / "work",
    )


def put_whole(cast: Cast, rendered: RenderedClip) -> Clip:
    """Tomas's swim, all of it in one view whose clock is known well."""
    clip, recording = cast.clips["tomas"][1], cast.recordings["underwater"]
    ticks = true_ticks("underwater")
    recording.frame_table = _table(cast, ticks, "frame-table")
    recording.frame_count = len(ticks)
    recording.save()
    Clip.objects.filter(swim=clip.swim).exclude(pk=clip.pk).delete()
    clip.first_frame, clip.frame_count = FIRST, COUNT
    clip.in_ticks, clip.out_ticks = int(ticks[FIRST]), int(ticks[FIRST + COUNT])
    clip.save()
    clip.files.all().delete()
    for file in rendered.files:
        content, suffix = file.path.read_bytes(), file.path.suffix
        stored = make_stored(cast.harbour, content, kind=file.kind, suffix=suffix)
        times = file.frame_pts
        table = _table(cast, times, "pts-table") if times is not None else None
        size = {"height": file.height, "width": file.width}
        ClipFile.objects.create(clip=clip, kind=file.kind, stored=stored, pts_table=table, **size)
    ClockFit.objects.update(u_ms=3.0)
    Swim.objects.update(start_kind="heard", start_u_ms=2.0)
    entry = clip.swim.entry
    entry.stroke, entry.start, entry.pace_s_per_100m = "freestyle", "block", PACE_S_PER_100M
    entry.save()
    return clip


def frame_of(cast: Cast, at_s: float) -> int:
    """The clip's first frame at or after this second of the swim."""
    clip = cast.clips["tomas"][1]
    start_s = (clip.swim.start_at - cast.recordings["underwater"].clock_fit.zero_at).total_seconds()
    ticks = true_ticks("underwater")
    return int(np.searchsorted(ticks, math.ceil((start_s + at_s) * 90_000 - 0.5))) - FIRST


def events_of(cast: Cast) -> dict[str, list[int]]:
    """Frames by what the pass calls an event, in order; of one that has several steps in a row
    one after the other."""
    first_s, last_s = dive_s(GO)
    turn = GO.turns[0]
    times: dict[str, list[float]] = {
        "start signal": [0.0],
        "first movement": [0.15],
        "feet leave block": [GO.leave_s],
        "first entry": [first_s],
        "full entry": [last_s],
        "head breaks surface, length 1": [GO.breakout_s],
        "head breaks surface, length 2": [turn.breakout_s],
        "feet touch wall, length 1": [turn.feet_touch_s],
        "feet leave wall, length 1": [turn.feet_leave_s],
        "hands touch wall, length 2": [GO.duration_s],
        "head at 5 m": [first_s + 0.75],  # under water, where the glide goes
        "head at 30 m": [turn.feet_leave_s + 1.55],
        **{
            f"head at {m} m": [at_s]
            for m in (10, 15, 20, 35, 40, 45)
            if (at_s := head_reaches_s(GO, float(m))) is not None
        },
        **{f"each hand entry, one after the other, length {n}": hands_in_s(GO, n) for n in (1, 2)},
    }
    return {name: [frame_of(cast, at_s) for at_s in its] for name, its in times.items()}


def steps_to(now: int, wanted: int) -> list[str]:
    """The fewest presses of the arrows, single and with shift for ten frames."""
    away = wanted - now
    tens = round(away / 10)
    ones = away - 10 * tens
    ten, one = ("ArrowRight" if n > 0 else "ArrowLeft" for n in (tens, ones))
    return [f"Shift+{ten}"] * abs(tens) + [one] * abs(ones)


assert FPS == 25
