"""The page that a swimmer takes home."""

from __future__ import annotations

from typing import Any

from clinics.models import Swim
from portal.requests import SignedInRequest


def take_home_part(request: SignedInRequest, swim: Swim) -> dict[str, Any]:
    return {}
