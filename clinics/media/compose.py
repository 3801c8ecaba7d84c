"""Stills to take along: pictures with what was drawn on them, and words above and below."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from clinics.media.decode import Picture
from clinics.media.letters import Words, band, font
from clinics.media.sheet import Sheet

PAPER, BAR, INK = (12, 24, 29), (19, 35, 41), (238, 245, 244)
"""The dark room's page, its bars, and its text."""
FINER = 2
"""Lines are drawn this much larger and scaled down, so that their edges are smooth."""
QUALITY = 92

Place = tuple[float, float]


class Overlay:
    """What is drawn over a picture of this size. Lengths are in its pixels; later lies above."""

    def __init__(self, width: int, height: int) -> None:
        self._size = (width, height)
        self._layer = Image.new("RGBA", (width * FINER, height * FINER))
        self._pen = ImageDraw.Draw(self._layer)

    def line(self, places: Sequence[Place], width_px: float, colour: str) -> None:
        """Round ends and corners."""
        fine = [(x * FINER, y * FINER) for x, y in places]
        width = max(1, round(width_px * FINER))
        if len(fine) > 1:
            self._pen.line(fine, fill=colour, width=width)
        for x, y in fine:
            reach = width / 2
            self._pen.ellipse((x - reach, y - reach, x + reach, y + reach), fill=colour)

    def rim(self, centre: Place, radii: Place, width_px: float, colour: str) -> None:
        """An ellipse; the middle of its line is on it."""
        (cx, cy), (rx, ry) = centre, radii
        box = (cx - rx - width_px / 2, cy - ry - width_px / 2)
        box += (cx + rx + width_px / 2, cy + ry + width_px / 2)  # type: ignore[assignment]
        fine = [side * FINER for side in box]
        self._pen.ellipse(fine, outline=colour, width=max(1, round(width_px * FINER)))

    def words(self, middle: Place, text: str, size_px: float, colour: str, casing: str) -> None:
        x, y = middle
        self._pen.text(
            (x * FINER, y * FINER),
            text,
            fill=colour,
            font=font(round(size_px * FINER), bold=True),
            anchor="mm",
            stroke_width=max(1, round(size_px * FINER / 10)),
            stroke_fill=casing,
        )

    def onto(self, picture: Image.Image) -> None:
        layer = self._layer.resize(self._size, Image.Resampling.LANCZOS)
        picture.paste(layer, (0, 0), layer)


def compose_stills(
    sheet: Sheet,
    pictures: Sequence[Picture],
    overlays: Sequence[Overlay | None],
    words: Sequence[Words],
    head: Words,
) -> Image.Image:
    """Separate stills on one sheet, each with its words below it. `pictures` have the sizes of
    the sheet's cells."""
    image = Image.new("RGB", (sheet.width, sheet.height), PAPER)
    _lay_words(image, head, (0, 0), (sheet.width, sheet.head_px), sheet.text_px)
    for cell, picture, overlay, said in zip(sheet.cells, pictures, overlays, words, strict=True):
        still = Image.fromarray(picture)
        if overlay is not None:
            overlay.onto(still)
        image.paste(still, (cell.left, cell.top))
        size = (cell.box_width, sheet.words_px)
        _lay_words(image, said, (cell.box_left, cell.words_top), size, sheet.text_px)
    return image


def _lay_words(
    image: Image.Image, words: Words, at: tuple[int, int], size: tuple[int, int], text_px: int
) -> None:
    ink = Image.fromarray(np.ascontiguousarray(band(words, *size, text_px)))
    bar = Image.new("RGB", size, BAR)
    bar.paste(Image.new("RGB", size, INK), (0, 0), ink)
    image.paste(bar, at)


def save_still(image: Image.Image, path: Path) -> None:
    """As JPEG, with nothing in it but the picture."""
    image.save(path, "JPEG", quality=QUALITY, subsampling=0, optimize=True)
