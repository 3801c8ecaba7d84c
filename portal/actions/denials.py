"""What a refused request was about, so that the right club's admins find it in their record."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.apps import apps
from django.db import models

from portal.models import Club
from portal.registry import audit_subjects


def about(ids: Mapping[str, Any]) -> tuple[models.Model | None, Club | None]:
    """The row and the club that the address named, if there are such. The same queries whether
    there are or not: a refusal must not tell by its time what exists."""
    found: tuple[models.Model | None, Club | None] = (None, None)
    slug = Club.objects.filter(slug=str(ids.get("slug", ""))).first()
    for value in (one for one in ids.values() if isinstance(one, uuid.UUID)):
        for subject in audit_subjects.all():
            club_id = subject.club_id(str(value))
            if club_id is not None:
                found = (apps.get_model(subject.name)(pk=value), Club(pk=club_id))
    return found if found[1] is not None else (None, slug)
