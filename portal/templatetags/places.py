"""Rows of places to go, beside those in the header."""

from __future__ import annotations

from typing import Any

from django import template

from portal import shell
from portal.models import Club

register = template.Library()


@register.inclusion_tag("portal/own_places.html", takes_context=True)
def own_places(context: dict[str, Any]) -> dict[str, Any]:
    """Where somebody looks after what is theirs."""
    return {"places": shell.own_places_of(context["request"])}


@register.inclusion_tag("portal/club_places.html", takes_context=True)
def club_places(context: dict[str, Any], club: Club) -> dict[str, Any]:
    """Where an admin looks after the club."""
    return {"places": shell.club_places_of(context["request"], club)}
