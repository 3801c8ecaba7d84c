"""Where views, stills and the words beside them stand in a picture to take along.

All lengths are even numbers of pixels: video has one colour for two by two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

GAP_PX = 8
SMALLEST_TEXT_PX = 16
NARROWEST_PX = 480
"""So that the words above have room over a single narrow view."""

Size = tuple[int, int]


@dataclass(frozen=True)
class Cell:
    """One picture at (left, top), scaled to width × height, in a box with its words below."""

    left: int
    top: int
    width: int
    height: int
    box_left: int
    box_width: int
    words_top: int


@dataclass(frozen=True)
class Sheet:
    """`head_px` is the height of the words above, `words_px` of those below each picture."""

    width: int
    height: int
    head_px: int
    words_px: int
    text_px: int
    cells: tuple[Cell, ...]


def columns_of(count: int) -> int:
    """One view or still alone, up to four in a row; then the rows are as full as can be.

    >>> [columns_of(count) for count in range(1, 13)]
    [1, 2, 3, 4, 3, 3, 4, 4, 3, 4, 4, 4]
    """
    if count <= 4:
        return count
    return 3 if count in (5, 6, 9) else 4


def film_sheet(sizes: Sequence[Size]) -> Sheet:
    """One view as large as a single film is; two side by side; four two by two."""
    most = (1280, 720) if len(sizes) == 1 else (960, 540)
    return sheet_of(sizes, columns=1 if len(sizes) == 1 else 2, most=most)


def still_sheet(size: Size) -> Sheet:
    return sheet_of([size], columns=1, most=size)


def row_sheet(size: Size, count: int) -> Sheet:
    return sheet_of([size] * count, columns=columns_of(count), most=(640, 640))


def sheet_of(sizes: Sequence[Size], *, columns: int, most: Size) -> Sheet:
    """Pictures of these sizes, each at most `most` and never enlarged, in rows."""
    fitted = [fit(size, most) for size in sizes]
    box_width, box_height = (max(side) for side in zip(*fitted, strict=True))
    text_px = max(SMALLEST_TEXT_PX, _even(box_height / 24))
    words_px = head_px = _even(text_px * 1.9)
    rows = -(-len(sizes) // columns)
    width = max(columns * box_width + (columns - 1) * GAP_PX, NARROWEST_PX)
    box_width = _even((width - (columns - 1) * GAP_PX) / columns)
    width = columns * box_width + (columns - 1) * GAP_PX
    step = box_height + words_px + GAP_PX
    cells = []
    for n, (cell_width, cell_height) in enumerate(fitted):
        left, top = n % columns * (box_width + GAP_PX), head_px + n // columns * step
        cells.append(
            Cell(
                left=left + _even((box_width - cell_width) / 2),
                top=top + _even((box_height - cell_height) / 2),
                width=cell_width,
                height=cell_height,
                box_left=left,
                box_width=box_width,
                words_top=top + box_height,
            )
        )
    return Sheet(width, head_px + rows * step - GAP_PX, head_px, words_px, text_px, tuple(cells))


def fit(size: Size, most: Size) -> Size:
    """The largest size of the same proportions within `most`, and no larger than it is.

    >>> fit((1920, 1080), (960, 540)), fit((640, 360), (960, 540)), fit((1080, 1920), (960, 540))
    ((960, 540), (640, 360), (302, 540))
    """
    scale = min(1.0, most[0] / size[0], most[1] / size[1])
    width, height = (max(2, int(side * scale + 1e-9) // 2 * 2) for side in size)
    return width, height


def _even(length: float) -> int:
    return round(length / 2) * 2
