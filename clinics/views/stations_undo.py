"""The moves that somebody has made on a plan, so that they can undo them: kept in their session,
newest last, for the clinic that they worked on last."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from clinics.actions.stations import Place
from clinics.models import Clinic, Station

if TYPE_CHECKING:
    from django.contrib.sessions.backends.base import SessionBase

KEY = "station-moves"
MOST = 20


def remember(session: SessionBase, station: Station, was: Place, now: Place) -> None:
    if was == now:
        return
    moves = _moves(session, station.clinic)
    moves.append({"station": str(station.pk), "was": asdict(was), "now": asdict(now)})
    session[KEY] = {"clinic": str(station.clinic_id), "moves": moves[-MOST:]}


def last_move(session: SessionBase, clinic: Clinic) -> tuple[str, Place, Place] | None:
    """Which station, where it stood and where it was put."""
    moves = _moves(session, clinic)
    if not moves:
        return None
    move = moves[-1]
    return move["station"], Place(**move["was"]), Place(**move["now"])


def forget_last(session: SessionBase, clinic: Clinic) -> None:
    session[KEY] = {"clinic": str(clinic.pk), "moves": _moves(session, clinic)[:-1]}


def _moves(session: SessionBase, clinic: Clinic) -> list[dict[str, Any]]:
    kept = session.get(KEY) or {}
    return list(kept["moves"]) if kept.get("clinic") == str(clinic.pk) else []
