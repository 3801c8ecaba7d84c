"""The stations of a plan, and the cameras that are meant for them."""

from __future__ import annotations

from functools import partial
from typing import Any

from clinics.compute.errors import say as _
from clinics.compute.plan_file.specs import Said, StationSpec, WindowSpec
from clinics.compute.plan_file.table import Errors, Table, no_twice
from clinics.compute.station_needs import BIT_RATES

KINDS = ("start-side", "underwater", "turn-window", "deck")
PORTS = ("air", "flat", "dome")
# What is usual; a plan says where its own cameras stand.
USUAL_HEIGHT_M = {"start-side": 1.6, "underwater": -0.5, "turn-window": -0.5, "deck": 1.6}


def stations(root: Table, errors: Errors, course_m: float) -> tuple[StationSpec, ...]:
    rows = root.rows("station")
    if not 1 <= len(rows) <= 6:
        told = _("there are %(count)s; a clinic has one to six.", count=len(rows))
        root.complain("station", told)
    found = tuple(_station(row, n, errors, course_m) for n, row in enumerate(rows, start=1))
    no_twice(errors, "station", "slug", [station.slug for station in found])
    return found


def _station(row: Any, number: int, errors: Errors, course_m: float) -> StationSpec:
    table = Table(row, f"station {number}", errors)
    kind = table.choice("kind", KINDS)
    name = table.text("name", limit=80)
    station = StationSpec(
        slug=table.slug("slug"),
        name=name,
        kind=kind,
        x_m=table.number("x_m", -20, course_m + 20),
        y_m=table.number("y_m", -50, 50),
        z_m=table.number("z_m", -6, 20, default=USUAL_HEIGHT_M.get(kind, 1.5)),
        hears_start=table.flag("hears_start", kind != "underwater"),
        windows=_windows(table),
        camera=table.text("camera", limit=80, default=name or "Camera"),
        planned=_planned(table),
    )
    table.nothing_else()
    return station


def _planned(table: Table) -> Said:
    number, choice = table.number, table.choice
    return table.said(
        angle_deg=partial(number, low=2, high=160),
        port=partial(choice, choices=PORTS),
        bearing_deg=partial(number, low=-360, high=360),
        fixed_mount=partial(table.flag, default=True),
        bit_rate=partial(choice, choices=[rate.key for rate in BIT_RATES]),
        card_gb=partial(number, low=0.1, high=10_000),
        battery_min=partial(number, low=1, high=10_000),
    )


def _windows(table: Table) -> tuple[WindowSpec, ...]:
    windows = []
    for n, row in enumerate(table.rows("windows"), start=1):
        part = Table(row, f"{table.where}.windows {n}", table.errors)
        pass_no = int(part.number("pass", 1, 200))
        from_s, to_s = part.number("from_s", -60, 3600), part.number("to_s", -60, 3600)
        if from_s >= to_s:
            ends = {"to_s": f"{to_s:g}", "from_s": f"{from_s:g}"}
            part.complain("to_s", _("%(to_s)s must be after from_s, %(from_s)s.", **ends))
        part.nothing_else()
        windows.append(WindowSpec(pass_no, from_s, to_s))
    no_twice(table.errors, f"{table.where}.windows", "pass", [w.pass_no for w in windows])
    return tuple(sorted(windows, key=lambda window: window.pass_no))
