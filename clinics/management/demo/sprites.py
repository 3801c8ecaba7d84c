"""What is drawn once and then laid over many frames: swimmers, cards, splashes, the lamp."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from clinics.management.demo.canvas import Sprite, sprite_of
from clinics.management.demo.figure import Colours, draw_figure

WIDTH_PX, HEIGHT_PX = 640, 360
PHASES = 24
LEAN_STEP_DEG = 6.0
CARD_M = (0.84, 0.66)
"""The number card is drawn large, so that its number can be told in a small still."""
DIGITS_M = 0.62


@lru_cache(maxsize=4096)
def figure_sprite(
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
def card_sprite(number: int, px_per_m: float) -> Sprite:
    width_px, height_px = (even(side_m * px_per_m) for side_m in CARD_M)
    card = Image.new("RGBA", (width_px, height_px), (250, 250, 246, 255))
    draw = ImageDraw.Draw(card)
    draw.rectangle((0, 0, width_px - 1, height_px - 1), outline=(16, 36, 46, 255), width=2)
    font = ImageFont.load_default(size=DIGITS_M * px_per_m)
    middle = (width_px / 2, height_px / 2)
    draw.text(middle, str(number), font=font, fill=(16, 36, 46, 255), anchor="mm")
    return sprite_of(card)


@lru_cache(maxsize=64)
def splash_sprite(stage: int, px_per_m: float) -> Sprite:
    """Drops thrown up where the swimmer went in; each stage wider, then thinner."""
    rng = np.random.default_rng(100 + stage)
    width_px, height_px = even(1.7 * px_per_m), even(1.0 * px_per_m)
    picture = Image.new("RGBA", (width_px, height_px), (245, 250, 250, 0))
    draw = ImageDraw.Draw(picture)
    spread = 0.10 + 0.05 * stage
    base_px = height_px * 0.62
    for _ in range(90 - 9 * stage):
        x = width_px / 2 + rng.normal(0, spread) * width_px * 0.8
        y = base_px - abs(rng.normal(0, 0.12 + 0.05 * min(stage, 4))) * height_px
        dot(draw, x, y, rng.uniform(1.0, 3.4), (245, 250, 250, 215))
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
def foam_sprite(turn: int, px_per_m: float, from_above: bool) -> Sprite:
    rng = np.random.default_rng(200 + turn)
    width_px, height_px = even(0.9 * px_per_m), even(0.44 * px_per_m)
    picture = Image.new("RGBA", (width_px, height_px), (245, 250, 250, 0))
    draw = ImageDraw.Draw(picture)
    for _ in range(26):
        x = rng.normal(0.5, 0.17) * width_px
        sink = rng.normal(0.45, 0.13) if from_above else 0.4 + abs(rng.normal(0, 0.2))
        dot(draw, x, sink * height_px, rng.uniform(1.2, 4.0), (245, 250, 250, 150))
    return sprite_of(picture)


@lru_cache(maxsize=64)
def bubbles_sprite(turn: int, px_per_m: float) -> Sprite:
    rng = np.random.default_rng(300 + turn)
    width_px, height_px = even(1.5 * px_per_m), even(0.9 * px_per_m)
    picture = Image.new("RGBA", (width_px, height_px), (215, 238, 242, 0))
    draw = ImageDraw.Draw(picture)
    for _ in range(30):
        x, y = rng.uniform(0.05, 0.95) * width_px, rng.normal(0.5, 0.16) * height_px
        dot(draw, x, y, rng.uniform(1.0, 3.6), (215, 238, 242, 120))
    return sprite_of(picture)


@lru_cache(maxsize=2)
def lamp_sprite(lit: bool) -> Sprite:
    picture = Image.new("RGBA", (64, 64), (255, 214, 90, 0))
    draw = ImageDraw.Draw(picture)
    if lit:
        for radius in range(30, 12, -3):
            dot(draw, 32, 32, radius, (255, 224, 130, 30 + (30 - radius) * 7))
    draw.rectangle((29, 40, 35, 64), fill=(70, 84, 90, 255))
    dot(draw, 32, 32, 12, (40, 52, 58, 255))
    dot(draw, 32, 32, 9, (255, 236, 150, 255) if lit else (104, 92, 60, 255))
    return sprite_of(picture)


@lru_cache(maxsize=1)
def glow_sprite() -> Sprite:
    """The lamp as seen from below: the surface lights up at once."""
    height_px = 150
    alpha = np.linspace(0.62, 0.0, height_px)[:, None] * np.ones((1, WIDTH_PX))
    values = np.empty((height_px, WIDTH_PX, 4), dtype=np.uint8)
    values[..., :3] = (255, 240, 190)
    values[..., 3] = (alpha * 255).astype(np.uint8)
    return sprite_of(Image.fromarray(values, "RGBA"))


def dot(draw: ImageDraw.ImageDraw, x: float, y: float, radius: float, colour) -> None:
    draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=colour)


def even(length: float) -> int:
    return round(length / 2) * 2
