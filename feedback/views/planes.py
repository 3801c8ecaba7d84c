"""Metres in the picture: planes placed on the recordings of this swim."""

from __future__ import annotations

from typing import Any

from clinics.models import Swim
from feedback.views.room_data import StationView
from portal.requests import SignedInRequest


def plane_part(request: SignedInRequest, swim: Swim, views: list[StationView]) -> dict[str, Any]:
    return {}
