"""Make the demo clinic in a folder: its papers, its recordings, and the truth beside them."""

from __future__ import annotations

import json
import os
import shutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from clinics.management.demo.occasions import AUTUMN, CLINICS
from clinics.management.demo.recordings import make_recording
from clinics.management.demo.scenario import Scenario
from clinics.management.demo.tables import plan_toml, roster_csv, starts_csv, ties
from clinics.management.demo.truth import TRUTH_FORMAT, truth_of

VERSION = 4
"""Raised when the generator's output changes, so that an older folder is not taken for new."""


class DemoFolderTaken(Exception):
    """The folder holds something else; nothing was written."""


@dataclass(frozen=True)
class Truth:
    """What was made: the folder, and the truth as it stands in its truth.json."""

    folder: Path
    data: dict[str, Any]

    def files_of(self, recording: dict[str, Any]) -> list[Path]:
        """The recording's source files, in order."""
        return [self.folder / file["path"] for file in recording["files"]]


def make_demo(out: Path, *, seed: int, short: bool, clinic: str = AUTUMN.slug) -> Truth:
    """Make a demo clinic (its slug, see occasions.py) in ``out``, whole or not at all.

    A folder that already holds the same demo is left as it is. Raises DemoFolderTaken if it holds
    anything else, and whatever the encoder complained of if that fails.
    """
    scenario = Scenario(CLINICS[clinic], seed, short)
    made = read_truth(out)
    if made is not None and is_same(made.data, scenario):
        return made
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise DemoFolderTaken(
            f"{out} is there and is not this demo ({clinic}, seed {seed}, "
            f"{'short' if short else 'whole'}, version {VERSION}). "
            "Name another folder, or remove it first."
        )
    part = out.with_name(f"{out.name}.part-{os.getpid()}")
    part.mkdir(parents=True)
    try:
        _make_in(part, scenario)
        if out.exists():
            out.rmdir()
        part.rename(out)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return Truth(out, json.loads((out / "truth.json").read_text()))


def read_truth(folder: Path) -> Truth | None:
    """The truth of a demo that was made before, or None."""
    try:
        data = json.loads((folder / "truth.json").read_text())
    except (FileNotFoundError, NotADirectoryError, json.JSONDecodeError):
        return None
    return Truth(folder, data) if data.get("format") == TRUTH_FORMAT else None


def is_same(data: dict[str, Any], scenario: Scenario) -> bool:
    """Whether a truth is that of this very demo, by this version of the generator."""
    wanted = (VERSION, scenario.clinic.slug, scenario.seed, scenario.short)
    return (data["version"], data["clinic"], data["seed"], data["short"]) == wanted


def _make_in(folder: Path, scenario: Scenario) -> None:
    """The recordings are made at once on all processors, the longest first."""
    order = sorted(scenario.recordings, key=lambda recording: -recording.frame_count)
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        for _ in pool.map(lambda recording: make_recording(folder, recording, scenario), order):
            pass
    (folder / "plan.toml").write_text(plan_toml(scenario))
    (folder / "roster.csv").write_text(roster_csv(scenario))
    (folder / "starts.csv").write_text(starts_csv(scenario))
    (folder / "ties.json").write_text(json.dumps(ties(scenario), indent=1))
    (folder / "truth.json").write_text(json.dumps(truth_of(scenario, VERSION)))
