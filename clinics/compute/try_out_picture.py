"""What can be told of a picture without knowing what it shows: sharp, bright, still.

Sharp. Where the picture steps from dark to light, by how many pixels does it go half the way? A
step that a lens blurs by a Gaussian of s pixels goes half the way within 1.35 s (the error
function: 2 * 0.6745). The strongest steps are found in the picture made four times smaller, where
there is little noise, and measured in full. Contrast falls out, so dim water is judged as a bright
wall is. Only steps across are looked at: a field of an interlaced picture has all its columns and
half its rows. Limits: it tells how sharp the sharpest steps in each part are, not of what, so a
near rope may be sharp and the lane behind it not; what moves is blurred by its motion; a camera's
own sharpening hides a little blur.

Bright. Shares of pixels near black and near white, and how far the middle ones lie apart.

Still. Two pictures are laid over each other by phase correlation (Kuglin and Hines 1975); what
moves in them is little against the walls that do not. If nothing fits well, nothing is said; in
rows of like tiles a camera that moved by one of them looks still.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy
from numpy.typing import NDArray

Luma = NDArray[np.uint8]
Floats = NDArray[np.float64]

WIDE_PX = 1920.0  # blur is said in pixels of a picture this wide, whatever the camera's is
HALF_WAY = 1.349  # of a Gaussian's standard deviation: see above
SMALLER = 4
REACH_PX = 24  # of a picture that is 1920 wide, to both sides of a step
LEAST_STEP = 12.0  # grey levels
LEAST_STEPS = 24  # fewer in a third of the picture are chance
MOST_STEPS = 400
ALONE = 1.3  # times its own height: more goes up and down around it, so it is no step alone
SHARPEST = 25.0  # percentile of the steps' blur: the sharp ones, without the lucky ones
SHARP_PX, SOFT_PX = 2.5, 5.0  # at 1920 wide; our choice, from pictures blurred on purpose
OWN_SHARP_PX, OWN_SOFT_PX = 1.2, 2.4  # of the picture's own pixels: none is sharper than those
PARTS = ("left", "middle", "right")

BLACK, WHITE = 24, 232
DARK_MIDDLE, MOST_WHITE, MOST_BLACK, LEAST_SPREAD = 32.0, 0.25, 0.6, 18.0

SHIFT_LONG = 160  # pictures are laid over each other at about this width
COARSE = 0.2  # cycles a pixel: what is finer is noise and ripples
LEAST_FIT = 0.3  # height of the peak of phase correlation; less is noise
NEARLY = 0.5  # as well as the best: then it is taken not to have moved
MOVED_SHARE = 0.02  # of the picture's width


class Focus(StrEnum):
    SHARP = "sharp"
    SOFT = "soft"
    BLURRED = "blurred"
    NO_EDGES = "no-edges"  # nothing to judge by: fog, dark, a cap on the lens, or a bare wall


class Light(StrEnum):
    FINE = "fine"
    DARK = "dark"
    BRIGHT = "bright"
    FLAT = "flat"


class Steady(StrEnum):
    STILL = "still"
    MOVED = "moved"
    UNKNOWN = "unknown"  # too little in it stays the same, or there is one picture only


@dataclass(frozen=True)
class Focused:
    """`blur_px`: standard deviation of the blur at 1920 pixels across, of the sharpest part,
    which is `where`; None if nothing has an edge."""

    focus: Focus
    blur_px: float | None = None
    where: str = ""


@dataclass(frozen=True)
class Lit:
    """`middle`: the median level, 0 to 255; `white`, `black`: shares of pixels at the ends."""

    light: Light
    middle: float
    white: float
    black: float


def focus_of(pictures: Sequence[Luma]) -> Focused:
    """Of the sharpest of these pictures, each uint8 [h, w]: motion blurs, nothing sharpens."""
    found = [(blur, part) for one in pictures for part, blur in _parts(one) if blur is not None]
    if not found:
        return Focused(Focus.NO_EDGES)
    blur_px, where = min(found)
    own = WIDE_PX / pictures[0].shape[1]
    if blur_px <= max(SHARP_PX, OWN_SHARP_PX * own):
        return Focused(Focus.SHARP, blur_px, where)
    soft = blur_px <= max(SOFT_PX, OWN_SOFT_PX * own)
    return Focused(Focus.SOFT if soft else Focus.BLURRED, blur_px, where)


def _parts(luma: Luma) -> list[tuple[str, float | None]]:
    """Thirds of the picture's width, with the blur of each in pixels of 1920."""
    thirds = np.array_split(np.arange(luma.shape[1]), len(PARTS))
    scale = WIDE_PX / luma.shape[1]
    found = []
    for part, which in zip(PARTS, thirds, strict=True):
        blur = blur_of(luma[:, which], reach_px=max(round(REACH_PX / scale), 2 * SMALLER))
        found.append((part, None if blur is None else blur * scale))
    return found


def blur_of(luma: Luma, *, reach_px: int = REACH_PX) -> float | None:
    """Standard deviation of the blur of the sharper steps, in pixels, up to about half of
    `reach_px`; None if there are too few steps."""
    half_way = _half_way(_profiles(luma, reach_px))
    if len(half_way) < LEAST_STEPS:
        return None
    return float(np.percentile(half_way, SHARPEST)) / HALF_WAY


def _profiles(luma: Luma, reach_px: int) -> Floats:
    """[steps, 2 * reach_px + 1]: levels across the strongest steps, each the mean of four rows."""
    small = _smaller(luma, SMALLER)
    off = max(reach_px // SMALLER // 2, 1)
    if small.shape[1] <= 2 * off:
        return np.empty((0, 1))
    step = np.abs(small[:, 2 * off :] - small[:, : -2 * off])
    least = np.pad(step, ((0, 0), (1, 1)))
    peak = (step >= least[:, :-2]) & (step > least[:, 2:]) & (step >= LEAST_STEP)
    rows, columns = np.nonzero(peak)
    centres = (columns + off) * SMALLER + SMALLER // 2
    inside = (centres >= reach_px) & (centres + reach_px < luma.shape[1])
    rows, columns, centres = rows[inside], columns[inside], centres[inside]
    strongest = np.argsort(step[rows, columns])[::-1][:MOST_STEPS]
    across = centres[strongest, None] + np.arange(-reach_px, reach_px + 1)
    down = rows[strongest, None, None] * SMALLER + np.arange(SMALLER)[:, None]
    return luma[down, across[:, None, :]].astype(np.float64).mean(axis=1)


def _half_way(profiles: Floats) -> Floats:
    """Pixels within which each goes half of its step, to a part of a pixel."""
    third = max(profiles.shape[1] // 6, 1)
    whole = np.abs(profiles[:, -third:].mean(axis=1) - profiles[:, :third].mean(axis=1))
    found = np.full(len(profiles), float(profiles.shape[1]))
    before = np.zeros(len(profiles))
    for width in range(1, profiles.shape[1]):
        rise = np.abs(profiles[:, width:] - profiles[:, :-width]).max(axis=1)
        there = (rise >= whole / 2) & (found == profiles.shape[1])
        part = (whole / 2 - before) / np.maximum(rise - before, 1e-9)
        found = np.where(there, width - 1 + part, found)
        before = rise
    alone = np.ptp(profiles, axis=1) <= ALONE * whole  # no line beside it is steeper than it
    return found[(whole >= LEAST_STEP) & alone]


def _smaller(luma: Luma, size: int) -> Floats:
    """By area, so that no detail is missed."""
    high, wide = (length // size * size for length in luma.shape)
    if high == 0 or wide == 0:
        return np.zeros((1, 1))
    blocks = luma[:high, :wide].astype(np.float64)
    return blocks.reshape(high // size, size, wide // size, size).mean(axis=(1, 3))


def light_of(pictures: Sequence[Luma]) -> Lit:
    """Of all these pictures together; there is one at least."""
    levels = np.concatenate([one[::4, ::4].ravel() for one in pictures])
    middle = float(np.median(levels))
    white, black = float(np.mean(levels >= WHITE)), float(np.mean(levels <= BLACK))
    low, high = np.percentile(levels, [5, 95])
    light = Light.FINE
    if middle < DARK_MIDDLE or black > MOST_BLACK:
        light = Light.DARK
    elif white > MOST_WHITE:
        light = Light.BRIGHT
    elif high - low < LEAST_SPREAD:
        light = Light.FLAT
    return Lit(light, middle, white, black)


def stands_still(pictures: Sequence[Luma]) -> Steady:
    """Whether all of these lie over the first; the same size each. By how much one moved is not
    said: rows of tiles have that wrong."""
    small = [_small(one) for one in pictures]
    found = [_shift(small[0], other) for other in small[1:]]
    known = [one for one in found if one is not None]
    if not known or 2 * len(known) < len(found):
        return Steady.UNKNOWN
    most = MOVED_SHARE * small[0].shape[1]
    return Steady.MOVED if max(known) > most else Steady.STILL


def _small(luma: Luma) -> Floats:
    return _smaller(luma, max(luma.shape[1] // SHIFT_LONG, 1))


def _shift(one: Floats, other: Floats) -> float | None:
    """Pixels of the small pictures."""
    high, wide = one.shape
    window = np.outer(np.hanning(high), np.hanning(wide))
    across = scipy.fft.fft2((one - one.mean()) * window) * np.conj(
        scipy.fft.fft2((other - other.mean()) * window)
    )
    coarse = np.hypot(scipy.fft.fftfreq(high)[:, None], scipy.fft.fftfreq(wide)[None, :]) <= COARSE
    plane = np.real(scipy.fft.ifft2(coarse * across / np.maximum(np.abs(across), 1e-9)))
    plane /= coarse.mean()
    row, column = np.unravel_index(int(np.argmax(plane)), plane.shape)
    unmoved = float(plane[np.ix_((-1, 0, 1), (-1, 0, 1))].max())
    if max(unmoved, float(plane[row, column])) < LEAST_FIT:
        return None
    if unmoved >= NEARLY * plane[row, column]:  # tiles and lane lines fit one further as well
        return 0.0
    down = row if row <= high // 2 else row - high
    right = column if column <= wide // 2 else column - wide
    return float(np.hypot(down, right))
