"""In the demo a clip stands on the teaching shelf, and a swimmer made a link for somebody."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from clinics.models import Share, ShelfClip
from feedback.actions import share, shelf

if TYPE_CHECKING:
    from clinics.models import Clinic
    from portal.models import User

FAULT = "Head lifts before the wall"
REMEDY = "Look for the line on the floor until the hand touches; turn the head with the shoulders."


def show_on_in_demo(clinic: Clinic, *, coach: User) -> None:
    """After answers about consent and giving. Repeated, it changes nothing."""
    if not ShelfClip.objects.filter(clip__swim__entry__clinic=clinic).exists():
        _put_one_up(clinic, coach)
    if not Share.objects.filter(swim__entry__clinic=clinic).exists():
        _make_one_link(clinic)


def _put_one_up(clinic: Clinic, coach: User) -> None:
    """The first whose people all agree to it."""
    mine = shelf.coached_clips(coach).filter(swim__entry__clinic=clinic)
    for clip in mine.order_by("swim__start_at", "station__order", "pass_no"):
        try:
            shelf.put_up(clip=clip, fault=FAULT, remedy=REMEDY, by=coach)
        except shelf.ShelfRefused:
            continue
        return


def _make_one_link(clinic: Clinic) -> None:
    """Of the first swimmer in whose swim nobody else can be recognised."""
    entries = clinic.entries.filter(swimmer__user__isnull=False).select_related("swimmer__user")
    for entry in entries.order_by("order"):
        user = entry.swimmer.user
        assert user is not None
        for swim in share.own_given(user).filter(entry=entry):
            try:
                share.make_share(swim=swim, by=user, lasts=dt.timedelta(days=30), note="My sister")
            except share.ShareRefused:
                continue
            return
