"""Areas of a picture that are covered with one flat colour before anything is encoded from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from clinics.media.ticks import TICKS_PER_S

Box = tuple[int, int, int, int]  # left, top, right, bottom in px, half open

COLOUR = "black"
MARGIN_PX = 2
"""Covered beyond the area: scaling mixes a picture's neighbours, so that just outside it there
would be a faint trace of what lies inside."""


@dataclass(frozen=True)
class Mask:
    """A black rectangle over the picture as shown (fractions of its width and height, 0 to 1).

    ``from_ticks`` and ``to_ticks`` are on the take's clock (1/90000 s from its first picture),
    both inclusive; None means from the beginning, or to the end.
    """

    x: float
    y: float
    width: float
    height: float
    from_ticks: int | None = None
    to_ticks: int | None = None


def box_of(mask: Mask, width: int, height: int) -> Box:
    """The pixels that a mask covers in a picture of this size: rounded outward, and a little more.

    >>> box_of(Mask(0.25, 0.5, 0.5, 0.5), 640, 360)
    (158, 178, 482, 360)
    """
    return (
        max(0, math.floor(mask.x * width) - MARGIN_PX),
        max(0, math.floor(mask.y * height) - MARGIN_PX),
        min(width, math.ceil((mask.x + mask.width) * width) + MARGIN_PX),
        min(height, math.ceil((mask.y + mask.height) * height) + MARGIN_PX),
    )


def covered(
    picture: Any,
    masks: Sequence[Mask],
    width: int,
    height: int,
    *,
    start_ticks: int,
    end_ticks: int,
) -> Any:
    """The pictures of an ffmpeg graph with the masks on, each in its span of time.

    ``start_ticks`` is when, on the take's clock, the first picture is shown, which the graph has
    at time 0; ``end_ticks`` is later than the last one, whatever its clock.
    """
    for mask in masks:
        left, top, right, bottom = box_of(mask, width, height)
        begin = 0 if mask.from_ticks is None else mask.from_ticks - start_ticks
        end = end_ticks if mask.to_ticks is None else mask.to_ticks - start_ticks
        # A half tick to each side: the filter compares seconds in floating point.
        within = f"between(t,{(begin - 0.5) / TICKS_PER_S:.9f},{(end + 0.5) / TICKS_PER_S:.9f})"
        picture = picture.filter(
            "drawbox",
            x=left,
            y=top,
            w=max(right - left, 1),
            h=max(bottom - top, 1),
            color=COLOUR,
            thickness="fill",
            enable=within,
        )
    return picture
