"""What is placed on a picture: recording and PTS of the frame that was on screen.

A better clock fit moves none of it; times within the swim are derived (design: time, 2).
"""

from __future__ import annotations

from django.db import models


def anchor_is_whole(name: str) -> models.CheckConstraint:
    """Recording and PTS come together or not at all; a span ends after it begins."""
    neither = models.Q(recording__isnull=True, pts_ticks__isnull=True, until_ticks__isnull=True)
    instant = models.Q(recording__isnull=False, pts_ticks__isnull=False)
    span = models.Q(until_ticks__isnull=True) | models.Q(until_ticks__gt=models.F("pts_ticks"))
    return models.CheckConstraint(condition=neither | (instant & span), name=name)
