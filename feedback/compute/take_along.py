"""What is taken along, and of which frames it is made: a still, a row of stills, or a film of up
to four views in step.

Frames, never times: a better clock fit changes which instant a frame stands for, not which frames
somebody asked for. The frames of the other views of a film are looked up as in the watch room
(`static/feedback/room/clock.js`; a test compares the two): the frame that contains the middle of
the leading view's frame.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

TICKS_PER_S = 90_000
RATES = {"1": 1, "1/2": 2, "1/4": 4, "1/8": 8}
"""How fast a film runs, and by what its times are multiplied for that."""
FEWEST_STILLS, MOST_STILLS = 3, 12
MOST_VIEWS = 4
NOT_HERE = -1
"""In place of a frame: the view does not reach this instant."""

Int64 = NDArray[np.int64]


class Kind(StrEnum):
    STILL = "still"
    ROW = "row"
    FILM = "film"


class SpecWrong(ValueError):
    """Nothing can be made of this; the sentence is for the log, forms say it for people."""


@dataclass(frozen=True)
class Spec:
    """What somebody asked for. `clips` by id, the leading one first; `names` as its views were
    called then. Frames are of the leading clip, both ends included."""

    kind: Kind
    clips: tuple[str, ...]
    names: tuple[str, ...]
    from_frame: int
    to_frame: int
    count: int = 1
    rate: str = "1"
    drawings: bool = False
    named: bool = True

    def __post_init__(self) -> None:
        many = MOST_VIEWS if self.kind is Kind.FILM else 1
        _need(1 <= len(self.clips) <= many, f"a {self.kind} shows 1 to {many} views")
        _need(len(set(self.clips)) == len(self.clips), "the same view twice")
        _need(len(self.names) == len(self.clips), "each view has its name")
        _need(0 <= self.from_frame <= self.to_frame, "it ends before it begins")
        _need(self.rate in RATES, f"no film runs at {self.rate!r}")
        _need(self.kind is Kind.FILM or self.rate == "1", "only a film has a rate")
        frames = self.to_frame - self.from_frame + 1
        if self.kind is Kind.STILL:
            _need(frames == 1 and self.count == 1, "a still is one frame")
        elif self.kind is Kind.ROW:
            in_bounds = FEWEST_STILLS <= self.count <= MOST_STILLS
            _need(in_bounds, f"a row has {FEWEST_STILLS} to {MOST_STILLS} stills")
            _need(frames >= self.count, f"{frames} frames are no row of {self.count} stills")
        else:
            _need(frames >= 2 and self.count == 1, "a film has two frames at least")
            _need(not self.drawings, "drawings stand on stills")

    @property
    def slower(self) -> int:
        """A film's times are the leading view's, times this."""
        return RATES[self.rate]

    def to_json(self) -> dict[str, Any]:
        told = {field.name: getattr(self, field.name) for field in fields(self)}
        return {**told, "kind": str(self.kind), "clips": [*self.clips], "names": [*self.names]}


def _need(true: bool, otherwise: str) -> None:
    if not true:
        raise SpecWrong(otherwise)


def spec_of(told: object) -> Spec:
    """Back from JSON; what else is in it is left alone. Raises SpecWrong."""
    if not isinstance(told, dict):
        raise SpecWrong("no spec")
    kinds = {"from_frame": int, "to_frame": int, "count": int, "rate": str}
    kinds |= {"drawings": bool, "named": bool}
    values: dict[str, Any] = {name: told.get(name) for name in kinds}
    for name, kind in kinds.items():
        _need(type(values[name]) is kind, f"{name} is no {kind.__name__}")
    try:
        values["kind"] = Kind(str(told.get("kind")))
        values["clips"] = tuple(str(UUID(clip)) for clip in _listed(told.get("clips")))
    except ValueError as wrong:
        raise SpecWrong(str(wrong)) from None
    return Spec(**values, names=tuple(_listed(told.get("names"))))


def _listed(told: object) -> list[str]:
    if not isinstance(told, list) or not all(isinstance(one, str) for one in told):
        raise SpecWrong("no list of words")
    return told


@dataclass(frozen=True, eq=False)
class ClipClock:
    """When each frame of a clip is shown: `ticks` (1/90000 s from its first frame, rising), the
    first one `first_ticks` after its recording's, and swim_s = zero_s + media_s * rate."""

    zero_s: float
    rate: float
    first_ticks: int
    ticks: Int64

    def __post_init__(self) -> None:
        if not len(self.ticks):
            raise ValueError("a clip without frames has no clock")

    def begins_s(self, frame: int) -> float:
        """Swim time at which a frame begins to be shown."""
        return self.zero_s + float(self.first_ticks + self.ticks[frame]) / TICKS_PER_S * self.rate

    def ends_s(self, frame: int) -> float:
        return self.begins_s(frame) + self.lasts_ticks(frame) / TICKS_PER_S * self.rate

    def middle_s(self, frame: int) -> float:
        return self.begins_s(frame) + self.lasts_ticks(frame) / 2 / TICKS_PER_S * self.rate

    def lasts_ticks(self, frame: int) -> int:
        """The last frame is shown as long as the one before it."""
        if len(self.ticks) == 1:
            return TICKS_PER_S // 25
        following = frame + 1 if frame + 1 < len(self.ticks) else frame
        return int(self.ticks[following] - self.ticks[following - 1])

    def frame_of(self, at_s: float) -> int:
        """The frame that contains a swim time; NOT_HERE where the clip does not reach it."""
        last = len(self.ticks) - 1
        if at_s < self.begins_s(0) - 1e-7 or at_s >= self.ends_s(last):
            return NOT_HERE
        ticks = (at_s - self.zero_s) / self.rate * TICKS_PER_S - self.first_ticks
        frame = int(np.searchsorted(self.ticks, ticks + 1e-3, side="right")) - 1
        return min(max(frame, 0), last)


def row_frames(ticks: Int64, from_frame: int, to_frame: int, count: int) -> list[int]:
    """Frames at equal steps of time from one to another, both included: of each step, the frame
    that begins nearest to it. Rising; fewer than `count` where the camera paused so long that two
    steps have the same nearest frame.

    >>> row_frames(np.arange(0, 30000, 3000), 0, 8, 5)
    [0, 2, 4, 6, 8]
    """
    span = ticks[from_frame : to_frame + 1]
    steps = np.linspace(float(span[0]), float(span[-1]), count)
    after = np.clip(np.searchsorted(span, steps), 1, len(span) - 1)
    nearer = steps - span[after - 1] <= span[after] - steps
    return [int(frame) + from_frame for frame in np.unique(np.where(nearer, after - 1, after))]


def film_frames(clocks: list[ClipClock], from_frame: int, to_frame: int) -> Int64:
    """Which frame of each view is in each picture of a film: int64 [pictures, views].

    The first view leads: each of its frames is one picture, once. NOT_HERE where a view does not
    reach that instant.
    """
    leading, *others = clocks
    frames = range(from_frame, to_frame + 1)
    rows = [
        [frame, *(view.frame_of(leading.middle_s(frame)) for view in others)] for frame in frames
    ]
    return np.array(rows, dtype=np.int64)


def film_ticks(ticks: Int64, from_frame: int, to_frame: int, slower: int) -> Int64:
    """When each picture of a film is shown, in 1/90000 s from its first: the leading view's own
    times, stretched.

    >>> film_ticks(np.array([0, 3000, 6100, 9000]), 1, 3, 4).tolist()
    [0, 12400, 24000]
    """
    span = ticks[from_frame : to_frame + 1]
    return (span - span[0]) * slower
