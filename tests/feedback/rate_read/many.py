"""`python -m tests.feedback.rate_read.many [COUNT [FIRST]]`: the whole distribution of readings of
films drawn by lot, one line for each film as it is read and a table at the end.

Films are fresh from seed 5345 on. The limits were set on those below 1000 and from 5000 to 5284;
those up to 5344 judged them: 15 sure and right, of 18 to look at 15 right, 27 not told.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from feedback.compute.rate_read.read import read_rate
from feedback.compute.rate_read.result import Reading, Sure, reading_of
from tests.feedback.rate_read.drawn import Scene, any_scene, draw

WITHIN = 0.03
COLUMNS = ("sure right", "sure wrong", "look right", "look wrong", "not told", "covered")


@dataclass(frozen=True)
class Read:
    """``true``: cycles a minute really made in what was read from."""

    scene: Scene
    reading: Reading
    true: float

    @property
    def off(self) -> float | None:
        """As a part of the truth; None: not told. Infinite of a rate where nobody strokes."""
        if self.reading.rate_per_min is None:
            return None
        return self.reading.rate_per_min / self.true - 1 if self.scene.swims else np.inf

    @property
    def is_covered(self) -> bool:
        """Whether the truth is within what the reading states."""
        said = self.reading.quantity
        return bool(said and self.scene.swims and abs(said.value - self.true) <= said.half_width_95)

    @property
    def words(self) -> str:
        if self.off is None:
            return "not told"
        return f"{self.reading.sure} {'right' if abs(self.off) <= WITHIN else 'wrong'}"

    def __str__(self) -> str:
        off = "" if self.off is None else f"{100 * self.off:+.1f} % {self.reading.rate_per_min:.1f}"
        why = f"{self.words} ({self.reading.why})"
        return f"{self.scene.seed} {self.scene.stroke} {why} {off} of {self.true:.1f}"


def read_of(seed: int) -> Read:
    scene = any_scene(seed)
    drawn = draw(scene)
    reading = read_rate(drawn.film, scene.stroke, drawn.box)
    assert reading_of(reading.to_json()) == reading
    ends = (reading.from_s, reading.to_s) if reading.to_s else drawn.film.times_s[[0, -1]]
    return Read(scene, reading, drawn.rate_between(*ends))


def counted(many: Sequence[Read]) -> Counter[str]:
    found = Counter(one.words for one in many)
    told = [one for one in many if one.off is not None]
    found["covered"] = sum(one.is_covered for one in told)
    found["not covered"] = len(told) - found["covered"]
    return found


def row(name: str, many: Sequence[Read]) -> str:
    found = counted(many)
    off = [abs(one.off) for one in many if one.off is not None and np.isfinite(one.off)]
    parts = np.percentile(off, [50, 90, 95, 100]) * 100 if off else np.zeros(4)
    figures = "".join(f"{found[column]:12}" for column in COLUMNS)
    return f"{name:14}{len(many):5}{figures}   " + " ".join(f"{one:.1f}" for one in parts)


def main() -> None:
    count, first = (int(word) for word in [*sys.argv[1:], *("300", "1000")[len(sys.argv) - 1 :]])
    many: list[Read] = []
    for seed in range(first, first + count):
        many.append(read_of(seed))
        print(many[-1], flush=True)
    columns = "".join(f"{column:>12}" for column in COLUMNS)
    print(f"{'':14}films{columns}   off by %: half, 90, 95, 100 of 100")
    print(row("all", many))
    for stroke in sorted({one.scene.stroke for one in many}):
        print(row(stroke, [one for one in many if one.scene.stroke == stroke]))
    for sure in (Sure.SURE, Sure.LOOK):
        print(row(sure, [one for one in many if one.reading.sure is sure]))


if __name__ == "__main__":
    main()
