"""What was drawn with a comment, in words."""

from __future__ import annotations

from collections.abc import Iterable

from django import template

from feedback.models import Comment
from feedback.views.drawn_list import Drawn, with_drawings

register = template.Library()


@register.simple_tag
def drawn_with(drawings: Iterable[Drawn], comment: Comment) -> str:
    """`{% drawn_with drawings comment %}`; nothing where nothing was drawn with it."""
    return with_drawings(one for one in drawings or () if one.drawing.comment_id == comment.pk)
