"""What stands still in the four views of the pool: hall, water, walls, ropes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from clinics.management.demo.motion import COURSE_M
from clinics.management.demo.sprites import HEIGHT_PX, WIDTH_PX, dot, even

RIPPLES = 6
"""So many variants of each background take turns, so that the water lives."""

Colour = tuple[int, int, int]


@dataclass(frozen=True)
class View:
    """A station's window: the metres it shows and how it shows what is under water."""

    kind: str
    left_m: float
    px_per_m: float
    water_row_px: int
    from_above: bool
    wide_m: float

    def seen_m(self) -> float:
        """Metres along the course that one picture shows."""
        return WIDTH_PX / self.px_per_m


VIEWS = {
    "start-side": View("start-side", -2.3, 68.0, 222, True, WIDTH_PX / 68.0),
    "underwater": View("underwater", 10.0, 128.0, 96, False, WIDTH_PX / 128.0),
    "turn-window": View("turn-window", 20.0, 116.0, 84, False, WIDTH_PX / 116.0),
    "deck": View("deck", -2.5, 64.0, 236, True, 30.0),
}


def background(view: View, ripple: int) -> Image.Image:
    return _BACKGROUNDS[view.kind](view, ripple)


def _start_side(view: View, ripple: int) -> Image.Image:
    picture = _hall(WIDTH_PX, view.water_row_px, (196, 212, 212), (150, 178, 184))
    draw = ImageDraw.Draw(picture)
    x, y = _plotter(view)
    _windows(draw, WIDTH_PX, 40, 96, 104)
    _sign(draw, (430, 132), "MILLRACE BATHS", 15)
    water = _gradient(WIDTH_PX, HEIGHT_PX - view.water_row_px, (98, 166, 178), (30, 104, 122))
    picture.paste(water, (0, view.water_row_px))
    _surface_lines(draw, WIDTH_PX, view.water_row_px, HEIGHT_PX, ripple, (170, 212, 218))
    _rope(draw, 0, WIDTH_PX, view.water_row_px + 46, 5, x(0.0))
    draw.rectangle((0, y(0.3), x(0.0), HEIGHT_PX), fill=(208, 214, 210))
    draw.rectangle((0, y(0.3), x(0.0), y(0.3) + 7), fill=(228, 232, 228))
    draw.rectangle((x(0.0) - 5, y(0.3), x(0.0), HEIGHT_PX), fill=(166, 178, 178))
    _tiles(draw, 0, round(y(0.3)) + 7, round(x(0.0)) - 5, HEIGHT_PX)
    block = ((x(-0.62), y(0.64)), (x(0.03), y(0.70)), (x(0.03), y(0.60)), (x(-0.62), y(0.54)))
    draw.rectangle((x(-0.46), y(0.6), x(-0.2), y(0.3)), fill=(206, 216, 216))
    draw.polygon(block, fill=(232, 238, 236))
    font = ImageFont.load_default(size=15)
    draw.text((x(-0.33), y(0.45)), "1", font=font, fill=(16, 36, 46), anchor="mm")
    return picture


def _underwater(view: View, ripple: int) -> Image.Image:
    picture = _below(view, ripple, (24, 104, 126), (8, 46, 64))
    draw = ImageDraw.Draw(picture)
    floor = HEIGHT_PX - 34
    draw.rectangle((0, floor, WIDTH_PX, HEIGHT_PX), fill=(18, 66, 84))
    draw.rectangle((0, floor + 12, WIDTH_PX, floor + 22), fill=(8, 34, 48))
    x, _ = _plotter(view)
    for metre in range(10, 16):
        draw.line((x(metre), floor, x(metre) - 22, HEIGHT_PX), fill=(12, 52, 68), width=1)
    _rope(draw, 0, WIDTH_PX, view.water_row_px + 2, 6, None, muted=True)
    return picture


def _turn_window(view: View, ripple: int) -> Image.Image:
    picture = _below(view, ripple, (28, 112, 132), (10, 58, 78))
    draw = ImageDraw.Draw(picture)
    x, _ = _plotter(view)
    floor = HEIGHT_PX - 26
    draw.rectangle((0, floor, WIDTH_PX, HEIGHT_PX), fill=(20, 74, 92))
    _rope(draw, 0, round(x(COURSE_M)), view.water_row_px + 2, 6, None, muted=True)
    wall = round(x(COURSE_M))
    draw.rectangle((wall, 0, WIDTH_PX, HEIGHT_PX), fill=(147, 167, 171))
    _tiles(draw, wall, 20, WIDTH_PX, HEIGHT_PX)
    centre = view.water_row_px + 62
    draw.rectangle((wall - 5, centre - 46, wall, centre + 46), fill=(226, 178, 36))
    draw.line((wall - 3, centre, wall - 3, centre + 40), fill=(16, 36, 46), width=2)
    return picture


def _deck(view: View, ripple: int) -> Image.Image:
    width_px = even(view.wide_m * view.px_per_m)
    picture = _hall(width_px, 118, (202, 216, 216), (172, 194, 198))
    draw = ImageDraw.Draw(picture)
    _windows(draw, width_px, 34, 70, 128)
    _sign(draw, (420, 92), "MILLRACE BATHS", 14)
    _sign(draw, (1310, 92), "HARBOUR LANE MASTERS", 14)
    x, _ = _plotter(view)
    near, far = HEIGHT_PX - 34, 126
    draw.rectangle((0, 116, width_px, HEIGHT_PX), fill=(206, 212, 208))
    water = _gradient(
        round(x(COURSE_M)) - round(x(0.0)), near - far, (159, 198, 204), (59, 139, 152)
    )
    picture.paste(water, (round(x(0.0)), far))
    left, right = round(x(0.0)), round(x(COURSE_M))
    _surface_lines(draw, right, far, near, ripple, (196, 226, 228), left)
    for row in (148, 176, 290):
        _rope(draw, left, right, row, 4 if row < 200 else 6, None)
    for metre in (5, 10, 15, 20):
        text = f"{metre} m"
        font = ImageFont.load_default(size=15)
        draw.text((x(metre), near + 17), text, font=font, fill=(60, 80, 88), anchor="mm")
    for edge in (left - 8, right):
        draw.rectangle((edge, far - 6, edge + 8, near + 4), fill=(232, 236, 232))
    block_top = view.water_row_px - 0.7 * view.px_per_m
    draw.rectangle((x(-0.6), block_top, x(0.03), block_top + 9), fill=(238, 242, 240))
    draw.rectangle((x(-0.45), block_top + 9, x(-0.2), view.water_row_px + 20), fill=(206, 216, 216))
    return picture


_BACKGROUNDS: dict[str, Callable[[View, int], Image.Image]] = {
    "start-side": _start_side,
    "underwater": _underwater,
    "turn-window": _turn_window,
    "deck": _deck,
}


def _plotter(view: View) -> tuple[Callable[[float], float], Callable[[float], float]]:
    """Metres to pixels in a background: along the course, and above the water."""
    return (
        lambda x_m: (x_m - view.left_m) * view.px_per_m,
        lambda z_m: view.water_row_px - z_m * view.px_per_m,
    )


def _gradient(width_px: int, height_px: int, top: Colour, bottom: Colour) -> Image.Image:
    part = np.linspace(0.0, 1.0, height_px)[:, None]
    column = np.array(top) * (1 - part) + np.array(bottom) * part
    values = np.repeat(column[:, None, :], width_px, axis=1)
    return Image.fromarray(np.rint(values).astype(np.uint8), "RGB")


def _hall(width_px: int, wall_bottom_px: int, top: Colour, bottom: Colour) -> Image.Image:
    picture = Image.new("RGB", (width_px, HEIGHT_PX), bottom)
    picture.paste(_gradient(width_px, wall_bottom_px, top, bottom), (0, 0))
    return picture


def _windows(draw: ImageDraw.ImageDraw, width_px: int, top: int, bottom: int, step: int) -> None:
    for left in range(24, width_px, step):
        draw.rectangle((left, top, left + step - 28, bottom), fill=(222, 234, 236))
        middle = left + (step - 28) // 2
        draw.line((middle, top, middle, bottom), fill=(186, 202, 204), width=3)


def _sign(draw: ImageDraw.ImageDraw, at: tuple[int, int], text: str, size: int) -> None:
    font = ImageFont.load_default(size=size)
    left, top, right, bottom = draw.textbbox(at, text, font=font, anchor="mm")
    draw.rectangle((left - 10, top - 6, right + 10, bottom + 6), fill=(10, 83, 97))
    draw.text(at, text, font=font, fill=(238, 245, 244), anchor="mm")


def _tiles(draw: ImageDraw.ImageDraw, left: int, top: int, right: int, bottom: int) -> None:
    for row in range(top, bottom, 14):
        draw.line((left, row, right, row), fill=(186, 198, 198), width=1)


def _rope(
    draw: ImageDraw.ImageDraw,
    left: int,
    right: int,
    row: int,
    radius: int,
    wall_px: float | None,
    muted: bool = False,
) -> None:
    """A lane rope of floats in turns of two colours, beginning at the wall if one is given."""
    pair = ((150, 92, 74), (142, 172, 176)) if muted else ((181, 72, 40), (240, 244, 242))
    first = left if wall_px is None else round(wall_px)
    for i, x in enumerate(range(first + radius, right, radius * 3)):
        dot(draw, x, row, radius, pair[0 if i % 6 < 3 else 1])


def _surface_lines(
    draw: ImageDraw.ImageDraw,
    right: int,
    top: int,
    bottom: int,
    ripple: int,
    colour: Colour,
    left: int = 0,
) -> None:
    """Short glints on the water; every variant moves them on a little."""
    rng = np.random.default_rng(7)
    shift = 14.0 * math.sin(2 * math.pi * ripple / RIPPLES)
    for _ in range((right - left) // 11):
        x, y = rng.uniform(left + 4, right - 40), rng.uniform(top + 6, bottom - 4)
        length = rng.uniform(10, 30) * (0.5 + (y - top) / (bottom - top))
        begin = max(left, x + shift * rng.uniform(0.4, 1.0))
        draw.line((begin, y, min(begin + length, right - 1), y), fill=colour, width=1)


def _below(view: View, ripple: int, top: Colour, bottom: Colour) -> Image.Image:
    """Under water: light falling in from a moving surface."""
    row = view.water_row_px
    picture = Image.new("RGB", (WIDTH_PX, HEIGHT_PX))
    picture.paste(_gradient(WIDTH_PX, row, (120, 182, 194), (72, 150, 168)), (0, 0))
    picture.paste(_gradient(WIDTH_PX, HEIGHT_PX - row, top, bottom), (0, row))
    rays = Image.new("L", (WIDTH_PX, HEIGHT_PX), 0)
    draw = ImageDraw.Draw(rays)
    turn = 2 * math.pi * ripple / RIPPLES
    for i, x in enumerate(range(-40, WIDTH_PX + 80, 72)):
        sway = 9 * math.sin(turn + i)
        foot = x - 90 + sway * 2
        shape = ((x + sway, row), (x + sway + 20, row), (foot + 40, HEIGHT_PX), (foot, HEIGHT_PX))
        draw.polygon(shape, fill=24 + 8 * (i % 3))
    rays = rays.filter(ImageFilter.GaussianBlur(7))
    picture.paste((190, 230, 236), (0, 0), rays)
    _surface(ImageDraw.Draw(picture), row, turn)
    return picture


def _surface(draw: ImageDraw.ImageDraw, row: int, turn: float) -> None:
    """The water line seen from below, as a bright band that waves."""
    xs = range(0, WIDTH_PX + 8, 8)
    wave = [row + 2.2 * math.sin(x / 31 + turn) + 1.4 * math.sin(x / 13 - turn) for x in xs]
    points = list(zip(xs, wave, strict=True))
    draw.line(points, fill=(206, 234, 238), width=4)
    draw.line([(x, y - 7) for x, y in points], fill=(150, 202, 212), width=2)
