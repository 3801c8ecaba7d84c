"""The four views of the pool: what stands still, and how the swimmers are laid over it.

Each view is a window of the plane that runs along the swum lane: pixels a metre, the place at its
left edge and the row of the water line. The same function of time moves the swimmers in all four.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from clinics.management.demo.canvas import Frame, Sprite, planes_of, sprite_of
from clinics.management.demo.figure import Colours, draw_figure
from clinics.management.demo.motion import CARD_S, COURSE_M, READY_S, Go

WIDTH_PX, HEIGHT_PX = 640, 360
RIPPLES = 6
"""So many variants of each background take turns, so that the water lives."""
RIPPLES_PER_S = 5.0
PHASES = 24
LEAN_STEP_DEG = 6.0
LAMP_S = 0.4
"""The starter's lamp is lit so long, from the very instant of the signal."""

Colour = tuple[int, int, int]


@dataclass(frozen=True)
class Figure:
    """One swim as the painter needs it. ``start_s`` counts from the truth epoch."""

    number: int
    start_s: float
    go: Go
    colours: Colours


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
PAN_HALF_M = 5.0


class Painter:
    """Draws one station's picture at any true instant (seconds since the truth epoch)."""

    def __init__(self, kind: str, figures: list[Figure], end_s: float) -> None:
        self.view = VIEWS[kind]
        self.figures = figures
        self.frame = Frame(WIDTH_PX, HEIGHT_PX)
        self.backgrounds = [planes_of(_background(self.view, i)) for i in range(RIPPLES)]
        self.pan = _pan_of(figures, end_s) if kind == "deck" else None

    def left_edge_m(self, clinic_s: float) -> float:
        """Place along the course at the picture's left edge; the deck camera turns along."""
        if self.pan is None:
            return self.view.left_m
        return float(np.interp(clinic_s, self.pan[0], self.pan[1])) - PAN_HALF_M

    def draw(self, clinic_s: float) -> Frame:
        """The picture at ``clinic_s``, without its painted time. The frame is used again."""
        view, frame = self.view, self.frame
        left_m = self.left_edge_m(clinic_s)
        left_px = round((left_m - view.left_m) * view.px_per_m / 2) * 2
        frame.fill(self.backgrounds[int(clinic_s * RIPPLES_PER_S) % RIPPLES], left_px)
        self._lay_lamp(clinic_s, left_px)
        for figure in self.figures:
            self._lay_figure(figure, clinic_s - figure.start_s, left_px)
        return frame

    def in_picture_s(self, figure: Figure) -> list[tuple[float, float]]:
        """Spans of swim seconds in which the hips are within the picture, to 20 ms."""
        ticks_s = np.arange(CARD_S[0], figure.go.duration_s + 4.0, 0.02)
        inside = [self._shows(figure, float(swim_s)) for swim_s in ticks_s]
        edges = np.flatnonzero(np.diff([0, *map(int, inside), 0]))
        return [
            (round(float(ticks_s[first]), 2), round(float(ticks_s[end - 1]), 2))
            for first, end in zip(edges[::2], edges[1::2], strict=True)
        ]

    def _shows(self, figure: Figure, swim_s: float) -> bool:
        posture = figure.go.posture_at(swim_s)
        if posture is None:
            return False
        left_m = self.left_edge_m(figure.start_s + swim_s)
        return left_m <= posture.x_m <= left_m + self.view.seen_m()

    def _lay_figure(self, figure: Figure, swim_s: float, left_px: int) -> None:
        posture = figure.go.posture_at(swim_s)
        if posture is None:
            return
        view = self.view
        centre = self._pixel(posture.x_m, posture.z_m, left_px)
        if not -200 < centre[0] < WIDTH_PX + 200:
            return
        sunk = view.from_above and posture.z_m < -0.3
        sprite = _figure_sprite(
            posture.pose,
            int(posture.phase * PHASES),
            round(posture.lean_deg / LEAN_STEP_DEG),
            posture.towards_turn,
            figure.colours,
            view.px_per_m,
            sunk,
        )
        half_px = sprite.luma.shape[0] / 2
        self.frame.lay(sprite, centre[0] - half_px, centre[1] - half_px)
        self._lay_card(figure, swim_s, centre)
        self._lay_water(figure, swim_s, posture.towards_turn, left_px)

    def _lay_card(self, figure: Figure, swim_s: float, centre: tuple[float, float]) -> None:
        """The number card before the chest, while the swimmer stands on the deck."""
        if not CARD_S[0] <= swim_s < -READY_S:
            return
        card = _card_sprite(figure.number, self.view.px_per_m)
        height_px, width_px = card.luma.shape
        top_px = centre[1] - 0.3 * self.view.px_per_m - height_px / 2
        self.frame.lay(card, centre[0] - width_px / 2, top_px)

    def _lay_water(self, figure: Figure, swim_s: float, outwards: bool, left_px: int) -> None:
        """Splash at the entry, foam at the feet while swimming, bubbles after each push."""
        go, view = figure.go, self.view
        since_entry_s = swim_s - go.entry_s
        if 0 <= since_entry_s < 0.8 and view.from_above:
            stage = int(since_entry_s / 0.1)
            self._lay_centred(_splash_sprite(stage, view.px_per_m), 2.9, 0.1, left_px)
        x_m, z_m = go.place_at(swim_s)
        behind = -1 if outwards else 1
        swimming = go.breakout_s < swim_s < go.turn_s
        swimming = swimming or go.second_breakout_s < swim_s < go.duration_s
        turn = int(swim_s * 10) % 4
        if swimming:
            foam = _foam_sprite(turn, view.px_per_m, view.from_above)
            self._lay_centred(foam, x_m + behind * 0.95, 0.02, left_px)
        gliding = go.entry_s < swim_s < go.breakout_s
        gliding = gliding or go.feet_leave_s < swim_s < go.second_breakout_s
        if gliding and not view.from_above:
            self._lay_centred(_bubbles_sprite(turn, view.px_per_m), x_m + behind, z_m, left_px)

    def _lay_centred(self, sprite: Sprite, x_m: float, z_m: float, left_px: int) -> None:
        x_px, y_px = self._pixel(x_m, z_m, left_px)
        height_px, width_px = sprite.luma.shape
        self.frame.lay(sprite, x_px - width_px / 2, y_px - height_px / 2)

    def _lay_lamp(self, clinic_s: float, left_px: int) -> None:
        """The starter's lamp: light needs no time to travel, so silent cameras can use it."""
        lit = any(0 <= clinic_s - figure.start_s < LAMP_S for figure in self.figures)
        kind = self.view.kind
        if kind == "underwater":
            if lit:
                self.frame.lay(_glow_sprite(), 0, 16)
        elif kind != "turn-window":
            self._lay_centred(_lamp_sprite(lit), -1.75, 1.95 if kind == "deck" else 2.2, left_px)

    def _pixel(self, x_m: float, z_m: float, left_px: int) -> tuple[float, float]:
        view = self.view
        x_px = (x_m - view.left_m) * view.px_per_m - left_px
        return x_px, view.water_row_px - z_m * view.px_per_m


def _pan_of(figures: list[Figure], end_s: float) -> tuple[NDArray, NDArray]:
    """Where the deck camera points: after the swimmer with a little lag, back when they are out."""
    times_s = np.arange(0.0, end_s + 1.0, 0.05)
    lowest_m, highest_m = PAN_HALF_M - 2.5, COURSE_M - PAN_HALF_M + 2.2
    points = np.empty_like(times_s)
    point_m = lowest_m
    for i, clinic_s in enumerate(times_s):
        wanted_m = np.clip(_wanted_m(figures, float(clinic_s)), lowest_m, highest_m)
        point_m += (wanted_m - point_m) * 0.09
        points[i] = point_m
    return times_s, points


def _wanted_m(figures: list[Figure], clinic_s: float) -> float:
    for figure in figures:
        swim_s = clinic_s - figure.start_s
        if 0 <= swim_s <= figure.go.duration_s:
            return figure.go.place_at(swim_s)[0]
    return 0.0


# What is drawn once


@lru_cache(maxsize=4096)
def _figure_sprite(
    pose: str,
    phase: int,
    lean_steps: int,
    forward: bool,
    colours: Colours,
    px_per_m: float,
    sunk: bool,
) -> Sprite:
    lean_deg = lean_steps * LEAN_STEP_DEG
    picture = draw_figure(pose, phase / PHASES, lean_deg, forward, colours, px_per_m)
    return sprite_of(picture, opacity=0.4 if sunk else 1.0)


@lru_cache(maxsize=64)
def _card_sprite(number: int, px_per_m: float) -> Sprite:
    width_px, height_px = _even(0.62 * px_per_m), _even(0.5 * px_per_m)
    card = Image.new("RGBA", (width_px, height_px), (250, 250, 246, 255))
    draw = ImageDraw.Draw(card)
    draw.rectangle((0, 0, width_px - 1, height_px - 1), outline=(16, 36, 46, 255), width=2)
    font = ImageFont.load_default(size=0.44 * px_per_m)
    middle = (width_px / 2, height_px / 2)
    draw.text(middle, str(number), font=font, fill=(16, 36, 46, 255), anchor="mm")
    return sprite_of(card)


@lru_cache(maxsize=64)
def _splash_sprite(stage: int, px_per_m: float) -> Sprite:
    """Drops thrown up where the swimmer went in; each stage wider, then thinner."""
    rng = np.random.default_rng(100 + stage)
    width_px, height_px = _even(1.7 * px_per_m), _even(1.0 * px_per_m)
    picture = Image.new("RGBA", (width_px, height_px), (245, 250, 250, 0))
    draw = ImageDraw.Draw(picture)
    spread = 0.10 + 0.05 * stage
    base_px = height_px * 0.62
    for _ in range(90 - 9 * stage):
        x = width_px / 2 + rng.normal(0, spread) * width_px * 0.8
        y = base_px - abs(rng.normal(0, 0.12 + 0.05 * min(stage, 4))) * height_px
        _dot(draw, x, y, rng.uniform(1.0, 3.4), (245, 250, 250, 215))
    draw.ellipse(
        (
            width_px * (0.5 - spread * 1.6),
            base_px - 5,
            width_px * (0.5 + spread * 1.6),
            base_px + 6,
        ),
        fill=(245, 250, 250, 190 - 18 * stage),
    )
    return sprite_of(picture)


@lru_cache(maxsize=64)
def _foam_sprite(turn: int, px_per_m: float, from_above: bool) -> Sprite:
    rng = np.random.default_rng(200 + turn)
    width_px, height_px = _even(0.9 * px_per_m), _even(0.44 * px_per_m)
    picture = Image.new("RGBA", (width_px, height_px), (245, 250, 250, 0))
    draw = ImageDraw.Draw(picture)
    for _ in range(26):
        x = rng.normal(0.5, 0.17) * width_px
        sink = rng.normal(0.45, 0.13) if from_above else 0.4 + abs(rng.normal(0, 0.2))
        _dot(draw, x, sink * height_px, rng.uniform(1.2, 4.0), (245, 250, 250, 150))
    return sprite_of(picture)


@lru_cache(maxsize=64)
def _bubbles_sprite(turn: int, px_per_m: float) -> Sprite:
    rng = np.random.default_rng(300 + turn)
    width_px, height_px = _even(1.5 * px_per_m), _even(0.9 * px_per_m)
    picture = Image.new("RGBA", (width_px, height_px), (215, 238, 242, 0))
    draw = ImageDraw.Draw(picture)
    for _ in range(30):
        x, y = rng.uniform(0.05, 0.95) * width_px, rng.normal(0.5, 0.16) * height_px
        _dot(draw, x, y, rng.uniform(1.0, 3.6), (215, 238, 242, 120))
    return sprite_of(picture)


@lru_cache(maxsize=2)
def _lamp_sprite(lit: bool) -> Sprite:
    picture = Image.new("RGBA", (64, 64), (255, 214, 90, 0))
    draw = ImageDraw.Draw(picture)
    if lit:
        for radius in range(30, 12, -3):
            _dot(draw, 32, 32, radius, (255, 224, 130, 30 + (30 - radius) * 7))
    draw.rectangle((29, 40, 35, 64), fill=(70, 84, 90, 255))
    _dot(draw, 32, 32, 12, (40, 52, 58, 255))
    _dot(draw, 32, 32, 9, (255, 236, 150, 255) if lit else (104, 92, 60, 255))
    return sprite_of(picture)


@lru_cache(maxsize=1)
def _glow_sprite() -> Sprite:
    """The lamp as seen from below: the surface lights up at once."""
    height_px = 150
    alpha = np.linspace(0.62, 0.0, height_px)[:, None] * np.ones((1, WIDTH_PX))
    values = np.empty((height_px, WIDTH_PX, 4), dtype=np.uint8)
    values[..., :3] = (255, 240, 190)
    values[..., 3] = (alpha * 255).astype(np.uint8)
    return sprite_of(Image.fromarray(values, "RGBA"))


# Backgrounds


def _background(view: View, ripple: int) -> Image.Image:
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
    width_px = _even(view.wide_m * view.px_per_m)
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
        _dot(draw, x, row, radius, pair[0 if i % 6 < 3 else 1])


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


def _dot(draw: ImageDraw.ImageDraw, x: float, y: float, radius: float, colour) -> None:
    draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=colour)


def _even(length: float) -> int:
    return round(length / 2) * 2
