"""This swim among those of the clinic, without names, and beside earlier ones: the place on the
swim's page into which pictures come (views/swim_pictures.py). They are made when somebody
scrolls there, not before: among others they measure the swims of a whole clinic."""

from __future__ import annotations

from typing import Any

from django.urls import reverse

from clinics.models import Swim
from portal.requests import SignedInRequest


def spread_part(request: SignedInRequest, swim: Swim) -> dict[str, Any]:
    return {"pictures_url": reverse("feedback:swim-pictures", args=[swim.pk])}
