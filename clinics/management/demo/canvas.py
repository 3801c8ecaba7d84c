"""Pictures as the encoder takes them: a full plane of brightness, two half ones of colour.

Drawing straight into these planes spares a colour conversion for each of some twenty thousand
frames. Everything that is drawn once (backgrounds, figures) is converted here once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from clinics.management.demo.painted import paint, strip_height_px

Plane = NDArray[np.uint8]
NEUTRAL = 128
OPAQUE = 256
"""Weights are uint16 of 0 to 256, so that mixing is two products and a shift."""


@dataclass(frozen=True)
class Planes:
    """Brightness [h, w] and colour differences [h/2, w/2], limited range of ITU-R BT.601."""

    luma: Plane
    blue: Plane
    red: Plane


@dataclass(frozen=True)
class Sprite:
    """A picture to lay over another: its planes already multiplied by their weights."""

    weight: NDArray[np.uint16]
    half_weight: NDArray[np.uint16]
    luma: NDArray[np.uint16]
    blue: NDArray[np.uint16]
    red: NDArray[np.uint16]


class Frame:
    """One frame's block of bytes and the three planes that look into it."""

    def __init__(self, width_px: int, height_px: int) -> None:
        self.block = np.zeros(width_px * height_px * 3 // 2, dtype=np.uint8)
        full, half = width_px * height_px, width_px * height_px // 4
        half_shape = (height_px // 2, width_px // 2)
        self.luma = self.block[:full].reshape(height_px, width_px)
        self.blue = self.block[full : full + half].reshape(half_shape)
        self.red = self.block[full + half :].reshape(half_shape)

    def fill(self, background: Planes, left_px: int = 0) -> None:
        """Cover the frame with the part of ``background`` that begins at ``left_px`` (even)."""
        height_px, width_px = self.luma.shape
        half, half_width = left_px // 2, width_px // 2
        self.luma[...] = background.luma[:height_px, left_px : left_px + width_px]
        self.blue[...] = background.blue[: height_px // 2, half : half + half_width]
        self.red[...] = background.red[: height_px // 2, half : half + half_width]

    def lay(self, sprite: Sprite, left_px: float, top_px: float) -> None:
        """Lay a sprite over the frame, cut at its borders; places are taken to even pixels."""
        left, top = round(left_px / 2) * 2, round(top_px / 2) * 2
        _mix(self.luma, sprite.luma, sprite.weight, left, top)
        _mix(self.blue, sprite.blue, sprite.half_weight, left // 2, top // 2)
        _mix(self.red, sprite.red, sprite.half_weight, left // 2, top // 2)

    def paint_time(self, value: int) -> None:
        """Paint the frame's instant along the top edge, in plain black and white."""
        paint(self.luma, value)
        rows = -(-strip_height_px(self.luma.shape[1]) // 2)
        self.blue[:rows] = NEUTRAL
        self.red[:rows] = NEUTRAL


def _mix(
    plane: Plane, over: NDArray[np.uint16], weight: NDArray[np.uint16], left: int, top: int
) -> None:
    height, width = plane.shape
    y0, y1 = max(top, 0), min(top + over.shape[0], height)
    x0, x1 = max(left, 0), min(left + over.shape[1], width)
    if y0 >= y1 or x0 >= x1:
        return
    part = (slice(y0 - top, y1 - top), slice(x0 - left, x1 - left))
    under = plane[y0:y1, x0:x1]
    under[...] = (under * (OPAQUE - weight[part]) + over[part]) >> 8


def planes_of(picture: Image.Image) -> Planes:
    """The planes of an RGB picture with even sides."""
    luma, blue, red = _bt601(np.asarray(picture.convert("RGB"), dtype=np.float32))
    as_bytes = [
        np.clip(np.rint(p), 0, 255).astype(np.uint8) for p in (luma, _half(blue), _half(red))
    ]
    return Planes(*as_bytes)


def sprite_of(picture: Image.Image, opacity: float = 1.0) -> Sprite:
    """A sprite of an RGBA picture with even sides."""
    values = np.asarray(picture, dtype=np.float32)
    alpha = values[..., 3] / 255 * opacity
    luma, blue, red = _bt601(values[..., :3])
    half_alpha = _half(alpha)

    def weighed(plane: NDArray[np.floating], weights: NDArray[np.floating]) -> NDArray[np.uint16]:
        return np.rint(plane * np.rint(weights * OPAQUE)).astype(np.uint16)

    return Sprite(
        weight=np.rint(alpha * OPAQUE).astype(np.uint16),
        half_weight=np.rint(half_alpha * OPAQUE).astype(np.uint16),
        luma=weighed(luma, alpha),
        blue=weighed(_half(blue), half_alpha),
        red=weighed(_half(red), half_alpha),
    )


def _bt601(rgb: NDArray[np.floating]) -> tuple[NDArray[np.floating], ...]:
    red, green, blue = (rgb[..., i] / 255 for i in range(3))
    luma = 0.299 * red + 0.587 * green + 0.114 * blue
    return 16 + 219 * luma, 128 + 224 * (blue - luma) / 1.772, 128 + 224 * (red - luma) / 1.402


def _half(plane: NDArray[np.floating]) -> NDArray[np.floating]:
    height, width = plane.shape
    return plane.reshape(height // 2, 2, width // 2, 2).mean(axis=(1, 3))
