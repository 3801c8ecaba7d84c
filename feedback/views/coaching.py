"""Whether the person who asks coaches a swim: many parts of a page want to know."""

from __future__ import annotations

import uuid

from clinics.models import Swim
from feedback.privacy import coaches
from portal.requests import SignedInRequest


def coaches_here(request: SignedInRequest, swim: Swim) -> bool:
    """As `feedback.privacy.coaches`, asked once per request and swim; the next request asks
    anew."""
    known: dict[uuid.UUID, bool] = request.__dict__.setdefault("coaches_here", {})
    if swim.pk not in known:
        known[swim.pk] = coaches(request.user, swim)
    return known[swim.pk]
