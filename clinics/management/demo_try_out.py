"""What an earlier try-out found, for the demo: its footage and names are gone, as they should be.

Invented figures of the demo's cameras; no file belongs to them.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from clinics.actions.try_out import KEPT
from clinics.models import Clinic, Station, TryOut, TryOutFile

STARTS_APART_S = 24.31
OFF_S = {"turn-window": {"date_off_s": -14398}}  # whose camera's own clock is wrong


def try_out_in_demo(clinic: Clinic) -> TryOut:
    """The evening before the clinic. May run twice: what is there stays."""
    known = clinic.try_outs.first()
    if known is not None:
        return known
    evening = dt.datetime.combine(
        clinic.date - dt.timedelta(days=1), dt.time(18, 30), tzinfo=clinic.zone
    )
    first = evening + dt.timedelta(minutes=12)
    row = TryOut.objects.create(
        clinic=clinic,
        begun_at=evening,
        first_start_at=first,
        second_start_at=first + dt.timedelta(seconds=STARTS_APART_S + 0.1),
        delete_by=evening + KEPT,
        gone_at=evening + dt.timedelta(minutes=40),
    )
    for number, station in enumerate(clinic.stations.all()):
        TryOutFile.objects.create(
            try_out=row,
            station=station,
            state=TryOutFile.State.JUDGED,
            brought_at=evening + dt.timedelta(minutes=20 + number),
            judged_at=evening + dt.timedelta(minutes=21 + number),
            findings=_findings(station, number),
            frame=TryOutFile.Frame.RIGHT,
        )
    return row


def _findings(station: Station, number: int) -> list[dict[str, Any]]:
    soft = station.kind == Station.Kind.UNDERWATER
    found = [
        _one("picture", "ok", "fine", width=1920, height=1080, codec="h264", rate=59.94,
             duration_s=81.0, interlaced=0.0),
        _one("focus", "look" if soft else "ok", "soft" if soft else "sharp",
             blur_px=3.4 if soft else 1.3, where="middle"),
        _one("light", "ok", "fine", middle=118.0, white=1.0),
    ]  # fmt: skip
    if station.fixed_mount:
        found.append(_one("steady", "ok", "still"))
    if not station.hears_start:
        return [
            *found,
            _one("start", "ok", "not-planned"),
            _one("clock", "ok", "slate", u_ms=11.0),
        ]
    heard = {"first_s": 14.0 + number, "gap_s": STARTS_APART_S, "tapped_s": STARTS_APART_S + 0.1}
    return [
        *found,
        _one("start", "ok", "heard", **heard, alike=0.91),
        _one("clock", "ok", "starts", u_s=0.3, **OFF_S.get(station.kind, {})),
    ]


def _one(check: str, state: str, what: str, **numbers: float | str) -> dict[str, Any]:
    return {"check": check, "state": state, "what": what, "numbers": numbers}
