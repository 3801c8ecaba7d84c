"""Reads a slate in pictures: quickly in every key frame, closely where one was seen.

What a code means is for others to say: `parse` turns a text into what it stands for, or None.
A text is believed only if it does (clinics/compute/slate.py asks for its check text), whatever was
done to the picture before. So a picture that cannot be read well may be tried in many ways, and
gives one of the codes that were in front of the camera, or none.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np
import scipy
import zxingcpp
from numpy.typing import NDArray

from clinics.media.luma import Luma, each_picture
from clinics.media.sandbox import Limits
from clinics.media.take import Take
from clinics.media.ticks import Int64

QR = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
MARGIN = 0.35
"""How much wider than the code the part around it is: a hand is not still."""
PART_SIDE = 420
"""The part around a code is brought to about this many pixels, some twelve for each module."""
PATIENCE = 12
"""So many pictures without a code, and it is taken to be out of sight."""
BLIND_EVERY = 4
"""As long as nobody knows where the code is, only every fourth picture is tried in all ways."""
LOOKS_LIKE_ONE = re.compile(r"S\d[0-9A-Z]{18}")
Floats = NDArray[np.float32]
Code = TypeVar("Code")
Parse = Callable[[str], Code | None]


@dataclass(frozen=True)
class Sighting:
    """A text like a slate's in one picture; `frame` is its number in the recording's frame table.
    It says where to read closely, and nothing more."""

    frame: int
    text: str


@dataclass(frozen=True)
class Box:
    """Part of a picture, in pixels."""

    left: int
    top: int
    right: int
    bottom: int

    def wider(self, shape: tuple[int, ...]) -> Box:
        more = int(MARGIN * max(self.right - self.left, self.bottom - self.top)) + 8
        return Box(
            max(0, self.left - more),
            max(0, self.top - more),
            min(shape[1], self.right + more),
            min(shape[0], self.bottom + more),
        )

    def of(self, luma: Luma) -> Luma:
        return np.ascontiguousarray(luma[self.top : self.bottom, self.left : self.right])


@dataclass
class SlateReader:
    """Looks at key frames as they come by. `sightings` are texts that were read; `hints` are
    numbers of pictures in which something like a code stands that could not be read."""

    sightings: list[Sighting] = field(default_factory=list)
    hints: list[int] = field(default_factory=list)

    def look(self, luma: Luma, frame_number: int) -> None:
        """`luma`: uint8 [h, w]; best between 500 and 1280 pixels wide."""
        text, where = _read(luma, lambda text: text if LOOKS_LIKE_ONE.fullmatch(text) else None)
        if text is not None:
            self.sightings.append(Sighting(frame_number, text))
        elif where is not None:
            self.hints.append(frame_number)

    @property
    def frames(self) -> list[int]:
        """Pictures around which it is worth reading closely, in order."""
        return sorted({*self.hints, *(sighting.frame for sighting in self.sightings)})


def read_code(luma: Luma, parse: Parse[Code]) -> Code | None:
    """The slate's code in one picture, by every way of looking at it; None if there is none."""
    return _read_every_way(luma, parse)[0]


def read_closely(
    take: Take,
    frame_pts: Int64,
    first_frame: int,
    frame_count: int,
    *,
    parse: Parse[Code],
    work_dir: Path,
    every: int = 1,
    limits: Limits | None = None,
    key_frames: Int64 | None = None,
    should_stop: Callable[[], bool] | None = None,
    require_sandbox: bool = False,
) -> list[tuple[int, Code]]:
    """Every code in a run of pictures, each with the picture's own number."""
    eye = _CloseEye(parse)

    def look(number: int, luma: Luma) -> tuple[int, Code] | None:
        code = eye.look(luma)
        return None if code is None else (number, code)

    return each_picture(
        take,
        frame_pts,
        first_frame,
        frame_count,
        look=look,
        work_dir=work_dir,
        every=every,
        limits=limits,
        key_frames=key_frames,
        should_stop=should_stop,
        require_sandbox=require_sandbox,
    )


class _CloseEye(Generic[Code]):
    """Looks at consecutive pictures, and remembers where the code stood last."""

    def __init__(self, parse: Parse[Code]) -> None:
        self.parse = parse
        self.where: Box | None = None
        self.missed = 0

    def look(self, luma: Luma) -> Code | None:
        """In every way as long as the code was there a moment ago; else with less trouble."""
        self.missed += 1
        hard = self.missed < PATIENCE if self.where else self.missed % BLIND_EVERY == 1
        code = self._at_its_place(luma, hard) if self.where else None
        if code is None:
            code = self._anywhere(luma, hard and self.where is None)
        if code is not None:
            self.missed = 0
        return code

    def _at_its_place(self, luma: Luma, hard: bool) -> Code | None:
        assert self.where is not None
        part = self.where.wider(luma.shape)
        code, where = (_read_every_way if hard else _read)(part.of(luma), self.parse)
        if code is not None and where is not None:
            self.where = _moved(where, part)
        return code

    def _anywhere(self, luma: Luma, hard: bool) -> Code | None:
        code, where = _read(luma, self.parse)
        if code is None and where is not None:  # something like a code: is it one?
            part = where.wider(luma.shape)
            code, found = _read_every_way(part.of(luma), self.parse)
            where = _moved(found, part) if found is not None else where
        elif code is None and hard:
            code, where = _read_every_way(luma, self.parse)
        if code is not None:
            self.where = where
        return code


def _moved(box: Box, part: Box) -> Box:
    return Box(
        box.left + part.left, box.top + part.top, box.right + part.left, box.bottom + part.top
    )


def _read_every_way(luma: Luma, parse: Parse[Code]) -> tuple[Code | None, Box | None]:
    where = None
    for picture, zoom in _ways(luma):
        code, found = _read(picture, parse)
        if found is not None:
            where = Box(*(round(side / zoom) for side in _sides(found)))
        if code is not None:
            return code, where
    return None, where


def _sides(box: Box) -> tuple[int, int, int, int]:
    return box.left, box.top, box.right, box.bottom


def _ways(luma: Luma) -> Iterator[tuple[Luma, float]]:
    """The picture as it is, then sharpened, enlarged, levelled, with how much each is enlarged.

    Sharpening (unsharp masking with more than the blur took) brings back modules that a lens out
    of focus ran together; levelling by the mean and spread around each pixel takes off glare.
    """
    yield luma, 1.0
    plain = luma.astype(np.float32)
    yield _as_luma(_sharpened(plain, 2.0, 2.0)), 1.0
    zoom = PART_SIDE / max(luma.shape)
    sized = plain
    if zoom > 1.2 or zoom < 0.6:
        zoom = min(zoom, 4.0) if zoom > 1 else max(zoom, 0.5)
        if zoom < 1:
            sized = scipy.ndimage.gaussian_filter(plain, 0.4 / zoom)
        sized = scipy.ndimage.zoom(sized, zoom, order=1)
    else:
        zoom = 1.0
    zoom = sized.shape[1] / luma.shape[1]
    yield _as_luma(sized), zoom
    for sigma, strength in ((3.0, 3.0), (6.0, 6.0)):
        yield _as_luma(_sharpened(sized, sigma, strength)), zoom
    levelled = _levelled(sized)
    yield _as_luma(levelled), zoom
    yield _as_luma(_sharpened(levelled, 5.0, 4.0)), zoom


def _sharpened(picture: Floats, sigma: float, strength: float) -> Floats:
    blurred = scipy.ndimage.gaussian_filter(picture, sigma, truncate=2.5)
    return picture + strength * (picture - blurred)


def _levelled(picture: Floats) -> Floats:
    size = max(3, round(max(picture.shape) / 4))
    mean = scipy.ndimage.uniform_filter(picture, size)
    power = scipy.ndimage.uniform_filter((picture - mean) ** 2, size)
    spread = np.sqrt(np.maximum(power, 0.0)) + 4.0  # a running sum may fall below 0 by rounding
    return 128 + 90 * (picture - mean) / spread


def _as_luma(picture: Floats) -> Luma:
    return np.clip(picture, 0, 255).astype(np.uint8)


def _read(luma: Luma, parse: Parse[Code]) -> tuple[Code | None, Box | None]:
    """The code, and where it stands; or only where something like a code stands."""
    found = zxingcpp.read_barcodes(
        np.ascontiguousarray(luma), formats=QR, try_rotate=False, return_errors=True
    )
    where = None
    for barcode in found:
        box = _box(barcode.position)
        code = parse(barcode.text) if barcode.valid else None
        if code is not None:
            return code, box
        if where is None and not barcode.valid:
            where = box
    return None, where


def _box(position: zxingcpp.Position) -> Box:
    corners = (position.top_left, position.top_right, position.bottom_left, position.bottom_right)
    across, down = [corner.x for corner in corners], [corner.y for corner in corners]
    return Box(min(across), min(down), max(across), max(down))
