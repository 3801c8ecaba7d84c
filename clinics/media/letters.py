"""Words in pictures: a band of text as one plane of ink, for stills and films alike."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

FONTS = Path("/usr/share/fonts/truetype/dejavu")
"""Debian's fonts-dejavu-core: it has the letters of all names that may come."""
FULL, SOFT = 255, 175
"""How strong the ink is: what is read first, and what is said beside it."""
MARGIN = 0.5
"""To each side of a band, and between its words, in heights of the text."""

Font = ImageFont.FreeTypeFont | ImageFont.ImageFont
Ink = NDArray[np.uint8]


@functools.lru_cache(maxsize=32)
def font(size_px: int, *, bold: bool = False) -> Font:
    """Without the system's font, the one that Pillow brings: it lacks letters, but reads."""
    path = FONTS / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")
    if path.exists():
        return ImageFont.truetype(str(path), size_px)
    return ImageFont.load_default(size=size_px)


@dataclass(frozen=True)
class Words:
    """`strong` first, `plain` after it, `aside` at the other end. `plain` gives way."""

    strong: str = ""
    plain: str = ""
    aside: str = ""


def band(words: Words, width: int, height: int, text_px: int) -> Ink:
    """How much ink is on each pixel: uint8 [height, width]."""
    image = Image.new("L", (width, height), 0)
    pen = ImageDraw.Draw(image)
    margin, middle = round(text_px * MARGIN), height / 2
    plain, bold = font(text_px), font(text_px, bold=True)
    left, right = float(margin), float(width - margin)
    aside = _shortened(pen, words.aside, plain, (right - left) * 0.6)
    if aside:
        pen.text((right, middle), aside, SOFT, plain, anchor="rm")
        right -= pen.textlength(aside, plain) + margin
    strong = _shortened(pen, words.strong, bold, right - left)
    if strong:
        pen.text((left, middle), strong, FULL, bold, anchor="lm")
        left += pen.textlength(strong, bold) + margin
    pen.text(
        (left, middle), _shortened(pen, words.plain, plain, right - left), SOFT, plain, anchor="lm"
    )
    return np.asarray(image)


def _shortened(pen: ImageDraw.ImageDraw, text: str, with_font: Font, width: float) -> str:
    """As much of it as has room, with an ellipsis where something was left out."""
    text = " ".join(text.split())
    if pen.textlength(text, with_font) <= width:
        return text
    while text and pen.textlength(f"{text}…", with_font) > width:
        text = text[:-1].rstrip()
    return f"{text}…" if text else ""
