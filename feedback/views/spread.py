"""This swim among those of the clinic, without names, and beside earlier ones."""

from __future__ import annotations

from typing import Any

from clinics.models import Swim
from portal.requests import SignedInRequest


def spread_part(request: SignedInRequest, swim: Swim) -> dict[str, Any]:
    return {}
