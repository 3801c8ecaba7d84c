"""A clinic with one real recording: a checkerboard stands where something is to be covered."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from clinics.actions.bring_in import take_in_files
from clinics.actions.cut import plan_cuts
from clinics.actions.masks import Area
from clinics.models import Clip, ClipFile, ClockFit, Recording, Station, Swim
from portal.actions.job_worker import drain
from portal.models import StoredFile
from tests.cast import FIRST_START, Cast
from tests.media.film import decoded, make_film

Luma = NDArray[np.uint8]

FRAMES, FPS = 110, 25
SIZE = (960, 540)  # made into two sizes
BOARD = (0.55, 0.40, 0.30, 0.35)
"""Where the pattern stands, in shares: left, top, width, height. The frame's number is painted
elsewhere (clinics/management/demo/painted.py)."""
AREA = Area(*BOARD)
CELL_PX = 8
FLAT_AT_MOST = 40
"""Black is 16; what a codec leaves around it is less than this, and a cell of the board is 235."""


def box(luma: Luma) -> tuple[slice, slice]:
    height, width = luma.shape
    left, top, wide, high = BOARD
    rows = slice(int(top * height), int((top + high) * height))
    return rows, slice(int(left * width), int((left + wide) * width))


def shows_pattern(luma: Luma) -> bool:
    """Half of it is bright when it is to be seen. A rest of it counts as seen, too."""
    return bool(luma[box(luma)].max() > FLAT_AT_MOST)


def film_clinic(cast: Cast, path: Path) -> Clip:
    """The film brought in, cut into one clip of Tomas, rendered and passed on by the checker."""
    ClipFile.objects.all().delete()
    Clip.objects.all().delete()
    Recording.objects.filter(station__clinic=cast.clinic).delete()
    Swim.objects.exclude(pk=cast.swims["tomas"].pk).filter(entry__clinic=cast.clinic).delete()
    take_in_files(
        station=cast.start_side,
        paths_with_names=[(path, path.name)],
        camera_name="Left",
        by=cast.crew,
    )
    drain(("render", "quick"))
    recording = Recording.objects.get(station__clinic=cast.clinic)
    fit = {"u_ms": 10.0, "state": "sure", "method": "ties"}
    fit["zero_at"] = FIRST_START - dt.timedelta(seconds=2)
    ClockFit.objects.update_or_create(recording=recording, defaults=fit)
    window = [{"pass": 1, "from_s": -1.0, "to_s": 2.0}]
    Station.objects.filter(pk=cast.start_side.pk).update(windows=window)
    plan_cuts(clinic=cast.clinic)
    drain(("render",))
    return Clip.objects.get()


def make_pattern_film(path: Path) -> Path:
    """Numbered pictures, each with black and white cells: whatever size they are scaled to,
    bright pixels are left of them."""
    left, top, wide, high = (share * SIZE[n % 2] for n, share in enumerate(BOARD))
    inside = f"between(X,{left},{left + wide - 1})*between(Y,{top},{top + high - 1})"
    cell = f"if(mod(floor(X/{CELL_PX})+floor(Y/{CELL_PX}),2),235,16)"
    board = f"geq=lum='if({inside},{cell},lum(X,Y))'"
    codec = ("-c:v", "libx264", "-preset", "ultrafast", "-g", "12", "-crf", "12")
    sound = ("-c:a", "aac")
    return make_film(
        path, count=FRAMES, size=SIZE, fps=FPS, video=codec, sound=sound, filters=board
    )


def original_goes(recording: Recording) -> None:
    for row in recording.files.select_related("stored"):
        row.stored.local_path().unlink()
        StoredFile.objects.filter(pk=row.stored_id).update(state="deleted")


def videos_of(clip: Clip) -> list[list[Luma]]:
    """The pictures of every rendition, largest first."""
    rows = clip.files.filter(kind="video").order_by("-height")
    return [list(decoded(row.stored.local_path())) for row in rows]


def still_of(file: ClipFile | Path) -> Luma:
    path = file if isinstance(file, Path) else file.stored.local_path()
    return np.asarray(Image.open(path).convert("L"))


def strip_of(clip: Clip) -> list[Luma]:
    return np.split(still_of(clip.files.get(kind="strip")), 10, axis=1)
