"""A swim whose events are known, and what cameras at their own frame rates make of it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from feedback.compute.measuring.events import Event, Seen, View, Zero
from feedback.compute.measuring.swim_marks import Course

COURSE = Course(25.0, 75.0, "freestyle", "block")
E = Event
# (event, seconds from the signal, distance swum or None, which view sees it)
TRUTH: tuple[tuple[Event, float, float | None, str], ...] = (
    (E.FIRST_MOVEMENT, 0.19, None, "start"),
    (E.FEET_LEAVE_BLOCK, 0.78, None, "start"),
    (E.FIRST_ENTRY, 1.12, None, "start"),
    (E.FULL_ENTRY, 1.41, None, "start"),
    (E.HEAD_AT_DISTANCE, 1.95, 5.0, "start"),
    (E.BREAKOUT, 4.62, None, "deck"),
    *((E.HAND_ENTRY, 5.1 + 0.62 * n, None, "deck") for n in range(9)),
    (E.HEAD_AT_DISTANCE, 5.35, 10.0, "deck"),
    (E.HEAD_AT_DISTANCE, 8.45, 15.0, "deck"),
    (E.HEAD_AT_DISTANCE, 11.6, 20.0, "deck"),
    (E.HANDS_TOUCH_WALL, 14.55, None, "window"),
    (E.FEET_TOUCH_WALL, 15.35, None, "window"),
    (E.FEET_LEAVE_WALL, 15.72, None, "window"),
    (E.HEAD_AT_DISTANCE, 17.3, 30.0, "deck"),
    (E.BREAKOUT, 18.05, None, "deck"),
    *((E.HAND_ENTRY, 18.5 + 0.66 * n, None, "deck") for n in range(9)),
    (E.HEAD_AT_DISTANCE, 20.6, 35.0, "deck"),
    (E.HEAD_AT_DISTANCE, 24.1, 40.0, "deck"),
)
FPS = {"start": 59.94, "deck": 25.0, "window": 50.0}


@dataclass
class Cameras:
    """`clock_u_s`: what the fit says of each clock; `start_u_s` of the heard start."""

    clock_u_s: float = 0.003
    start_u_s: float = 0.002
    place_u_m: float = 0.0
    zero_in: str | None = None  # the start counts from a mark of the signal in this view
    fps: dict[str, float] = field(default_factory=lambda: dict(FPS))

    def film(
        self,
        rng: np.random.Generator | None = None,
        truth: tuple[tuple[Event, float, float | None, str], ...] = TRUTH,
    ) -> tuple[list[Seen], Zero]:
        """Marks on the first frame at or after each event. With `rng` clocks, the start and the
        frames' phases are drawn; without, all clocks are true and frames begin at 0."""
        off = {name: rng.normal(0, self.clock_u_s) if rng else 0.0 for name in self.fps}
        phase = {name: rng.uniform(0, 1 / fps) if rng else 0.0 for name, fps in self.fps.items()}
        start_off = rng.normal(0, self.start_u_s) if rng else 0.0
        zero = Zero("heard", self.start_u_s)
        if self.zero_in is not None:
            start_off, zero = self._marked(self.zero_in, off, phase)
        marks = []
        for n, (event, at_s, distance_m, name) in enumerate(truth):
            step = 1 / self.fps[name]
            late_s = 0.0
            if rng is not None and distance_m is not None and self.place_u_m:
                late_s = rng.normal(0, self.place_u_m) / 1.6  # the line drawn elsewhere
            shown = np.ceil((at_s + late_s - phase[name]) / step) * step + phase[name]
            view = View(name, self.clock_u_s)
            frame_s = float(shown + off[name] - start_off)
            marks.append(
                Seen(f"m{n}", event, view, frame_s, step, "ines", distance_m, self.place_u_m)
            )
        return marks, zero

    def _marked(
        self, name: str, off: dict[str, float], phase: dict[str, float]
    ) -> tuple[float, Zero]:
        """By how much the zero is off that stands half a frame before the first frame of `name`
        at or after the signal, on that view's clock."""
        step = 1 / self.fps[name]
        shown = np.ceil((0.0 - phase[name]) / step) * step + phase[name]
        u_s = float(np.hypot(step / np.sqrt(12), self.clock_u_s))
        zero = Zero("mark", u_s, view=View(name, self.clock_u_s), half_s=step / 2)
        return float(shown) - step / 2 + off[name], zero


def another_swim(
    rng: np.random.Generator,
) -> tuple[tuple[Event, float, float | None, str], ...]:
    """The same events in the same order, each up to 80 ms earlier or later."""
    return tuple(
        (event, at_s + float(rng.uniform(-0.08, 0.08)), distance_m, view)
        for event, at_s, distance_m, view in TRUTH
    )
