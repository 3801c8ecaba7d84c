"""A look at one short file: what it is, its sound, a few of its pictures. In the sandbox, like
all reading of files (sandbox.py); nothing of it is turned into web video."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clinics.media.errors import TooLarge
from clinics.media.facts import FileFacts
from clinics.media.index import TakeIndex, index_take
from clinics.media.look import KeyFrameReader, look_through
from clinics.media.luma import Luma, each_picture
from clinics.media.probe import probe
from clinics.media.sandbox import Limits
from clinics.media.sound import TRACK_RATE_HZ
from clinics.media.still import extract_frame
from clinics.media.take import Take
from clinics.media.ticks import TICKS_PER_S

__all__ = ["TRACK_RATE_HZ", "Looked", "look_at"]

LOOKED_AT = 6  # whole pictures, evenly over the file
STILLS, STILL_HEIGHT = 4, 480
ShouldStop = Callable[[], bool] | None


@dataclass(frozen=True)
class Still:
    path: Path
    at_s: float


@dataclass(frozen=True)
class Looked:
    """`samples`: mono int16 at 8 kHz from the first picture on, None without sound. `pictures`:
    grey, upright, up to 1920 wide. `stills`: JPEGs in the work folder."""

    facts: FileFacts
    take: Take
    index: TakeIndex
    samples: NDArray[np.int16] | None
    pictures: tuple[Luma, ...]
    stills: tuple[Still, ...]


@dataclass(frozen=True)
class _How:
    work_dir: Path
    limits: Limits
    require_sandbox: bool
    should_stop: ShouldStop


def look_at(
    path: Path,
    *,
    shown_name: str,
    work_dir: Path,
    limits: Limits,
    readers: Sequence[KeyFrameReader] = (),
    require_sandbox: bool = False,
    should_stop: ShouldStop = None,
    on_progress: Callable[[float], None] | None = None,
) -> Looked:
    """Raises Unsupported, Damaged, TooLarge or TimedOut with a reason for a person, or Stopped.
    `readers` see every key frame."""
    report = on_progress or (lambda _done: None)
    facts = probe(path, shown_name=shown_name, limits=limits, require_sandbox=require_sandbox)
    if facts.duration_s > limits.max_duration_s:
        raise TooLarge(f"{shown_name} is longer than a try-out takes: film a minute or two.")
    report(0.1)
    take = Take((path,), (facts,), (shown_name,))
    index = index_take(
        take,
        work_dir=work_dir,
        limits=limits,
        should_stop=should_stop,
        require_sandbox=require_sandbox,
    )
    report(0.4)
    look_through(
        take,
        index.frame_pts,
        index.key_frames,
        work_dir=work_dir,
        readers=readers,
        limits=limits,
        should_stop=should_stop,
        require_sandbox=require_sandbox,
    )
    report(0.6)
    how = _How(work_dir, limits, require_sandbox, should_stop)
    pictures = tuple(_pictures(take, index, how))
    report(0.8)
    return Looked(facts, take, index, _samples(index), pictures, tuple(_stills(take, index, how)))


def _samples(index: TakeIndex) -> NDArray[np.int16] | None:
    if index.sound_track is None:
        return None
    return np.fromfile(index.sound_track, dtype="<i2")


def _evenly(index: TakeIndex, count: int) -> list[int]:
    """Pictures evenly over the file, key frames where there are such: those are quick to reach,
    and coded best."""
    among = index.key_frames
    if len(among) < count:
        among = np.arange(len(index.frame_pts), dtype=np.int64)
    places = np.linspace(0, len(among) - 1, min(count + 2, len(among))).astype(int)
    inner = places[1:-1] if len(places) > 2 else places  # the first and last are shaken
    return sorted({int(among[place]) for place in inner})


def _pictures(take: Take, index: TakeIndex, how: _How) -> list[Luma]:
    found: list[Luma] = []
    for number in _evenly(index, LOOKED_AT):
        found += each_picture(
            take,
            index.frame_pts,
            number,
            1,
            look=lambda _number, luma: luma.copy(),
            work_dir=how.work_dir,
            limits=how.limits,
            key_frames=index.key_frames,
            should_stop=how.should_stop,
            require_sandbox=how.require_sandbox,
        )
    return found


def _stills(take: Take, index: TakeIndex, how: _How) -> list[Still]:
    found = []
    for number in _evenly(index, STILLS):
        path = how.work_dir / f"try-out-{number}.jpg"
        extract_frame(
            take,
            index.frame_pts,
            number,
            out_path=path,
            height=STILL_HEIGHT,
            limits=how.limits,
            key_frames=index.key_frames,
            require_sandbox=how.require_sandbox,
        )
        found.append(Still(path, int(index.frame_pts[number]) / TICKS_PER_S))
    return found
