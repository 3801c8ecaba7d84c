"""Each format is made once for all tests of this folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from clinics.media.index import TakeIndex, index_take
from clinics.media.probe import probe
from clinics.media.render import RenderedClip, render_clip
from clinics.media.take import Take, order_split_files
from tests.clinics.media.formats import CASES, Case


@dataclass(frozen=True)
class Indexed:
    """A made format: its files as one take, and the take's index."""

    case: Case
    take: Take
    index: TakeIndex
    folder: Path

    def clip(self, first: int, count: int, out_dir: Path, **settings: Any) -> RenderedClip:
        """Frames `first` to `first + count` of the take, rendered."""
        return render_clip(
            self.take,
            self.index.frame_pts,
            first,
            count,
            out_dir=out_dir,
            work_dir=self.folder,
            key_frames=self.index.key_frames,
            **settings,
        )


@pytest.fixture(scope="session")
def indexed(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Indexed]:
    """The take and index of a format, by its name."""
    cases = {case.name: case for case in CASES}
    made: dict[str, Indexed] = {}

    def get(name: str) -> Indexed:
        if name not in made:
            folder = tmp_path_factory.mktemp("format")
            made[name] = _index(cases[name], folder)
        return made[name]

    return get


def _index(case: Case, folder: Path) -> Indexed:
    # In an order that is not theirs: the portal must find it.
    files = list(reversed(case.make(folder)))
    facts = [probe(path, shown_name=path.name) for path in files]
    groups = order_split_files([(path.name, fact) for path, fact in zip(files, facts, strict=True)])
    assert len(groups) == 1, "files of one recording count as one"
    ordered = groups[0]
    take = Take(tuple(files[n] for n in ordered), tuple(facts[n] for n in ordered))
    return Indexed(case, take, index_take(take, work_dir=folder), folder)
