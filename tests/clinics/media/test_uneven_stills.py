"""Stills of the demo's start camera, whose times are as uneven as a webcam's."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from clinics.management.demo.make import make_demo
from clinics.management.demo.painted import read
from clinics.media.index import index_take
from clinics.media.probe import probe
from clinics.media.still import extract_frames
from clinics.media.take import Take

RUN = 12


def test_every_still_of_an_uneven_recording_is_exact(tmp_path: Path) -> None:
    """Two pictures may fall on one tick of the nominal rate; each still comes all the same."""
    truth = make_demo(tmp_path / "demo", seed=1, short=True)
    (recording, *_) = [r for r in truth.data["recordings"] if r["variable_rate"]]
    path = truth.files_of(recording)[0]
    take = Take((path,), (probe(path, shown_name=path.name),))
    index = index_take(take, work_dir=tmp_path)
    for first in range(0, 10 * RUN, RUN):
        folder = tmp_path / str(first)
        folder.mkdir()
        made = extract_frames(take, index.frame_pts, first, RUN, out_dir=folder, height=360)
        shown = [read(np.asarray(Image.open(still).convert("L"))) for still in made]
        assert shown == recording["painted"][first : first + RUN]
