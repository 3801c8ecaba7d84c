"""The short form of the cautions, for pages where somebody is about to start swimmers."""

from __future__ import annotations

from typing import Any

from django import template

from clinics.actions.cautions import has_read
from clinics.compute.caution_words import SHORT
from clinics.views.words import said

register = template.Library()


@register.simple_tag(takes_context=True)
def short_cautions(context: dict[str, Any]) -> dict[str, Any]:
    """The sentences, and whether the person has read the whole of this clinic's. One query while
    they have read nothing, else five at most."""
    state = has_read(context["clinic"], context["request"].user)
    return {"lines": [said(line) for line in SHORT], "state": state.value}
