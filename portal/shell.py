"""What every page shows around its content: the club's name and the places to go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from portal.registry import navigation


@dataclass(frozen=True)
class Place:
    label: Any
    url: str
    here: bool


def places(request: HttpRequest) -> list[Place]:
    """The two to four places this person goes to, in order."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return []
    shown = sorted((e for e in navigation.all() if e.shown_to(request)), key=lambda e: e.order)
    urls = [(entry.label, reverse(entry.url_name)) for entry in shown]
    return [Place(label, url, request.path.startswith(url)) for label, url in urls]


def page_shell(request: HttpRequest) -> dict[str, Any]:
    return {"places": places(request)}
