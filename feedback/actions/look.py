"""Looking at a swim: what was new until now.

That somebody watched is noted where the pictures are served (`clinics.actions.access`).
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from feedback.models import LastLooked

if TYPE_CHECKING:
    from clinics.models import Swim
    from portal.models import User


@transaction.atomic
def look(*, swim: Swim, user: User) -> dt.datetime | None:
    """Note that the user opened the swim now; when they did before, None: never."""
    before = LastLooked.objects.filter(user=user, swim=swim).values_list("at", flat=True).first()
    LastLooked.objects.update_or_create(user=user, swim=swim, defaults={"at": timezone.now()})
    return before
