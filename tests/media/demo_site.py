"""A site of its own that holds one demo clinic, driven by its commands alone.

What is read from the recordings stays the same whatever the start log says, so a site can be
copied after bringing in, and each copy be given another log.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clinics.management.demo.make import Truth
from tests.migrated import migrated_database

ROOT = Path(__file__).resolve().parents[2]
ADMIN = "mara.lindqvist@harbourlane.example"
Float64 = NDArray[np.float64]


@dataclass(frozen=True)
class Recording:
    """What was imposed on one recording; times in seconds from the clinic's truth epoch."""

    row: dict[str, Any]
    slow_motion: float = 1.0

    @property
    def name(self) -> str:
        return str(self.row["files"][0]["name"])

    @property
    def hears(self) -> bool:
        return bool(self.row["has_sound"])

    @property
    def frame_s(self) -> float:
        """How long a picture is shown, at most."""
        return float(np.diff(self.row["pts_ticks"]).max()) / 90_000

    @property
    def media_s(self) -> Float64:
        return np.array(self.row["pts_ticks"]) / 90_000 * self.slow_motion

    @property
    def painted_s(self) -> Float64:
        return np.array(self.row["painted"]) / 10_000

    def clinic_s(self, media_s: Float64) -> Float64:
        rate = 1 + self.row["rate_ppm"] * 1e-6
        told: Float64 = self.row["zero_s"] + media_s / self.slow_motion * rate
        return told


@dataclass(frozen=True)
class Site:
    """A data folder with one clinic in it, and the truth of that clinic."""

    data: Path
    truth: Truth

    @property
    def slug(self) -> str:
        return str(self.truth.data["clinic"])

    @property
    def epoch(self) -> dt.datetime:
        return dt.datetime.fromisoformat(self.truth.data["painted"]["epoch"])

    def seconds(self, instant: str) -> float:
        """An instant of a report, in seconds from the truth epoch."""
        return (dt.datetime.fromisoformat(instant) - self.epoch).total_seconds()

    def manage(self, *words: str) -> str:
        """Run a command; what it printed. It must end well."""
        return ended(started(self.data, *words))

    def work_off(self) -> None:
        """Read what was brought in and render what is planned, in two processes at once."""
        code = "from portal.actions.job_worker import drain; drain(('render',))"
        for process in [started(self.data, "shell", "-v0", "-c", code) for _ in range(2)]:
            ended(process)

    def told(self, *words: str) -> dict[str, Any]:
        document: dict[str, Any] = json.loads(self.manage(*words, "--json"))
        return document

    def shell(self, *lines: str) -> Any:
        """What some lines of Python on the site's own models come to, in `told`."""
        code = "\n".join(["import json", *lines, "print(json.dumps(told, default=str))"])
        return json.loads(self.manage("shell", "-v0", "-c", code).splitlines()[-1])

    def align(self, *words: str) -> dict[str, Any]:
        return self.told("align", self.slug, *words)

    def report(self) -> dict[str, Any]:
        return self.told("clinic_report", self.slug)

    def copied(self, data: Path) -> Site:
        """The same site in another folder: files are shared, its database is its own."""

        def copy(source: str, target: str) -> None:
            (shutil.copy2 if "sidelane.db" in source else os.link)(source, target)

        shutil.copytree(self.data, data, copy_function=copy)
        return replace(self, data=data)

    def log(self, text: str | None = None) -> None:
        """Take in the demo's start log, or another."""
        path = self.truth.folder / "starts.csv"
        if text is not None:
            path = self.data / "other-starts.csv"
            path.write_text(text)
        self.manage("log_starts", self.slug, str(path))


def started(data: Path, *words: str) -> subprocess.Popen[str]:
    """A command of the site, on its way."""
    env = {**os.environ, "SIDELANE_DATA": str(data), "SECOND_FACTOR_REQUIRED": "false"}
    for name in ("DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE"):
        env.pop(name, None)
    return subprocess.Popen(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def ended(process: subprocess.Popen[str]) -> str:
    """What it printed. It must end well."""
    out, complaints = process.communicate()
    assert process.returncode == 0, f"{process.args!r}\n{out[-2000:]}{complaints[-4000:]}"
    return out


def set_up(data: Path, truth: Truth) -> Site:
    """The clinic is planned and everybody has agreed who is filmed."""
    site = Site(data, truth)
    data.mkdir(parents=True, exist_ok=True)
    shutil.copy(migrated_database(), data / "sidelane.db")
    club = ("--club", truth.data["club"], "--club-name", "Harbour Lane Masters")
    site.manage("first_admin", ADMIN, *club)
    site.manage("plan_clinic", str(truth.folder / "plan.toml"))
    agreed = [str(swim["number"]) for swim in truth.data["swims"] if swim["filmed"]]
    site.manage("record_consent", site.slug, *agreed, "--by", ADMIN)
    return site


def bring_in(site: Site, files: dict[str, list[Path]]) -> None:
    """Bring in each station's files, then read them all; what follows from that can wait."""
    for station, paths in files.items():
        site.manage("bring_in", site.slug, station, *map(str, paths))
    site.work_off()


def files_by_station(truth: Truth) -> dict[str, list[Path]]:
    stations: dict[str, list[Path]] = {}
    for recording in truth.data["recordings"]:
        stations.setdefault(recording["station"], []).extend(truth.files_of(recording))
    return stations


def shifted_log(truth: Truth, *, by_s: float, offset: str) -> str:
    """The start log of a phone whose clock is wrong and set to another time zone."""
    zone = dt.datetime.fromisoformat(f"2026-01-01T00:00:00{offset}").tzinfo
    rows = csv.DictReader(io.StringIO((truth.folder / "starts.csv").read_text()))
    lines = ["instant,swimmer,outcome,note"]
    for row in rows:
        instant = dt.datetime.fromisoformat(row["instant"]).replace(tzinfo=dt.UTC)
        local = (instant + dt.timedelta(seconds=by_s)).astimezone(zone)
        lines.append(f"{local.isoformat()},{row['swimmer']},{row['outcome']},")
    return "\n".join([*lines, ""])
