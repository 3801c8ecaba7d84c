"""Points of the body on frames: angles and the centre of mass."""

from __future__ import annotations

from typing import Any

from clinics.models import Swim
from feedback.views.room_data import StationView
from portal.requests import SignedInRequest


def body_part(request: SignedInRequest, swim: Swim, views: list[StationView]) -> dict[str, Any]:
    return {}
