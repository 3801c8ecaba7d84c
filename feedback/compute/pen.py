"""How the lines of a drawing are inked: colours, and a pattern each, so that neither the colour
nor the paper has to be right for a drawing to be told from another."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

Point = tuple[float, float]

# As the `--drawn-…` tokens of the dark room (a test compares them).
COLOURS = {"flag": "#f2c230", "rope": "#ff7a52", "water": "#7fd0ff", "good": "#6fe08a"}
CASING = "#06141a"  # a darker rim, so that a line stands out of bright water as well
PEN_PX = 1 / 180  # width of a line, of the picture's height
# Lengths of line and gap in widths of the pen. Ends are round and reach half a width into a gap.
PATTERNS: dict[str, tuple[float, ...]] = {
    "flag": (),
    "rope": (5.0, 3.0),
    "water": (0.1, 2.4),
    "good": (6.0, 2.6, 0.1, 2.6),
}


@dataclass(frozen=True)
class Outline:
    """A line through `places` in pixels; `patterned` lines show their colour's pattern too."""

    places: tuple[Point, ...]
    patterned: bool = True
    ellipse: tuple[float, float, float, float] | None = None  # centre and radii


@dataclass(frozen=True)
class Polyline:
    """A line with round ends and corners."""

    places: tuple[Point, ...]
    width_px: float
    colour: str


@dataclass(frozen=True)
class Ellipse:
    """The rim of an ellipse; `width_px` is that of the line, its middle on the ellipse."""

    cx: float
    cy: float
    rx: float
    ry: float
    width_px: float
    colour: str


@dataclass(frozen=True)
class Text:
    """Words whose middle stands at x, y, with a rim of `casing`."""

    x: float
    y: float
    text: str
    size_px: float
    colour: str
    casing: str


Shape = Polyline | Ellipse | Text


def inked(outline: Outline, colour: str, pen_px: float, cased: bool) -> list[Shape]:
    """An outline as solid pieces: its casing, or its line in its colour's pattern."""
    width_px, hex_colour = (pen_px * 2, CASING) if cased else (pen_px, COLOURS[colour])
    pattern = PATTERNS[colour] if outline.patterned else ()
    if outline.ellipse is not None and not pattern:
        return [Ellipse(*outline.ellipse, width_px=width_px, colour=hex_colour)]
    pieces = cut(outline.places, [length * pen_px for length in pattern])
    return [Polyline(piece, width_px, hex_colour) for piece in pieces]


def cut(places: tuple[Point, ...], pattern_px: list[float]) -> list[tuple[Point, ...]]:
    """The parts of a line that a pattern of line and gap lengths leaves; all of it if there is
    no pattern. The pattern begins with the line."""
    if not pattern_px:
        return [places]
    pieces: list[tuple[Point, ...]] = []
    piece: list[Point] = [places[0]]
    lengths = _again_and_again(pattern_px)
    on, left_px = True, next(lengths)
    for here, there in pairwise(places):
        at, far_px = here, math.dist(here, there)
        while far_px >= left_px:
            share = left_px / far_px if far_px else 1.0
            at = (at[0] + (there[0] - at[0]) * share, at[1] + (there[1] - at[1]) * share)
            if on:
                pieces.append((*piece, at))
            piece, on, far_px, left_px = [at], not on, far_px - left_px, next(lengths)
        left_px -= far_px
        piece.append(there)
    return [*pieces, tuple(piece)] if on and len(piece) > 1 else pieces


def _again_and_again(lengths_px: list[float]) -> Iterator[float]:
    while True:
        yield from lengths_px
