"""What is covered in a clip is in no still, row of stills or film to take along; and what was made
before is taken away."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from clinics.actions.masks import cover_station
from clinics.actions.pass_on import pass_swims
from clinics.media.sheet import Sheet, film_sheet, row_sheet, still_sheet
from clinics.models import Clip
from feedback.actions import take_along as acts
from feedback.actions.clip_clocks import film_of
from feedback.compute.take_along import Kind, Spec
from feedback.models import TakeAlong
from portal.actions.job_worker import drain
from tests.cast import Cast
from tests.clinics.mask_site import AREA, Luma, film_clinic, make_pattern_film, shows_pattern
from tests.media.film import decoded

KINDS = (Kind.STILL, Kind.ROW, Kind.FILM)
STILLS = 5


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_pattern_film(tmp_path_factory.mktemp("masks") / "00012.mp4")


@pytest.fixture
def clip(cast: Cast, film: Path) -> Clip:
    made = film_clinic(cast, film)
    pass_swims(swims=[made.swim], by=cast.checker)
    return made


def make(cast: Cast, clip: Clip, kind: Kind) -> TakeAlong:
    ends = (20, 20) if kind is Kind.STILL else (20, 40)
    count = STILLS if kind is Kind.ROW else 1
    spec = Spec(kind, (str(clip.pk),), (clip.station.name,), *ends, count)
    row = acts.ask(swim=clip.swim, by=cast.coach, spec=spec)
    drain(("render",))
    row.refresh_from_db()
    assert row.state == TakeAlong.State.READY, row.reason
    return row


def path_of(row: TakeAlong) -> Path:
    assert row.stored is not None
    return row.stored.local_path()


def pictures_in(row: TakeAlong, cast: Cast, clip: Clip) -> list[Luma]:
    """The pictures of the clip on what was made, without the words around them."""
    size = film_of(clip, cast.coach).size
    if row.kind == Kind.FILM:
        return [_cut(luma, film_sheet([size]))[0] for luma in decoded(path_of(row))]
    luma = np.asarray(Image.open(path_of(row)).convert("L"))
    return _cut(luma, still_sheet(size) if row.kind == Kind.STILL else row_sheet(size, STILLS))


def _cut(luma: Luma, sheet: Sheet) -> list[Luma]:
    return [
        luma[cell.top : cell.top + cell.height, cell.left : cell.left + cell.width]
        for cell in sheet.cells
    ]


def test_nothing_to_take_along_shows_what_is_covered(
    cast: Cast, clip: Clip, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    before = {kind: make(cast, clip, kind) for kind in KINDS}
    for row in before.values():
        assert all(map(shows_pattern, pictures_in(row, cast, clip)))
    files = [path_of(row) for row in before.values()]
    with django_capture_on_commit_callbacks(execute=True):
        cover_station(station=cast.start_side, area=AREA, by=cast.checker)
    assert not TakeAlong.objects.exists() and not any(path.exists() for path in files)
    with django_capture_on_commit_callbacks(execute=True):
        drain(("render",))
    clip.refresh_from_db()
    pass_swims(swims=[clip.swim], by=cast.checker)
    for kind in KINDS:
        pictures = pictures_in(make(cast, clip, kind), cast, clip)
        assert pictures and not any(map(shows_pattern, pictures))
