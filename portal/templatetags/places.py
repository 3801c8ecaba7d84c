"""Rows of places to go, beside those in the header; and what is asked on the way out."""

from __future__ import annotations

from typing import Any

from django import template

from portal import shell
from portal.models import Club
from portal.registry import leaving_modules

register = template.Library()


@register.inclusion_tag("portal/own_places.html", takes_context=True)
def own_places(context: dict[str, Any]) -> dict[str, Any]:
    """Where somebody looks after what is theirs."""
    return {"places": shell.own_places_of(context["request"])}


@register.inclusion_tag("portal/club_places.html", takes_context=True)
def club_places(context: dict[str, Any], club: Club) -> dict[str, Any]:
    """Where an admin looks after the club."""
    return {"places": shell.club_places_of(context["request"], club)}


@register.inclusion_tag("portal/leaving.html")
def leaving() -> dict[str, Any]:
    """Once on each page with a form that signs out; such a form says `data-leaving`."""
    return {"modules": leaving_modules.all()}
