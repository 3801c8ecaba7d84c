"""What showing on needs beyond the cast: consents for further purposes, tags, links, reports."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils import timezone

from clinics.models import (
    Clip,
    ClipMask,
    Consent,
    InPicture,
    MinorReport,
    Publication,
    Recording,
    Share,
    ShelfClip,
    Swim,
)
from feedback.actions.share import make_share
from tests.cast import FIRST_START, Cast

LATER = dt.timedelta(days=1)


def agree(cast: Cast, name: str, *purposes: str) -> None:
    for purpose in purposes:
        Consent.objects.create(swimmer=cast.swims[name].entry.swimmer, purpose=purpose)


def withdraw(cast: Cast, name: str, *purposes: str) -> None:
    rows = Consent.objects.filter(swimmer=cast.swims[name].entry.swimmer, ended_at__isnull=True)
    rows.filter(purpose__in=purposes).update(ended_at=timezone.now())


def tag(cast: Cast, clip: Clip, name: str) -> InPicture:
    """Seen in the middle of the clip."""
    quarter = (clip.out_ticks - clip.in_ticks) // 4
    return InPicture.objects.create(
        recording=clip.recording,
        swimmer=cast.swims[name].entry.swimmer,
        from_ticks=clip.in_ticks + quarter,
        to_ticks=clip.out_ticks - quarter,
        tagged_by=cast.checker,
    )


def cover(cast: Cast, clip: Clip, name: str, made_at: dt.datetime) -> ClipMask:
    return ClipMask.objects.create(
        clip=clip,
        first_frame=clip.first_frame,
        last_frame=clip.first_frame + clip.frame_count - 1,
        left=0.1,
        top=0.1,
        width=0.2,
        height=0.3,
        covers=cast.swims[name].entry.swimmer,
        made_at=made_at,
    )


def link(cast: Cast, name: str = "tomas", **more: Any) -> tuple[Share, str]:
    swim: Swim = cast.swims[name]
    told = {"lasts": dt.timedelta(days=7), **more}
    return make_share(swim=swim, by=swim.entry.swimmer.user, **told)


def put_on_shelf(cast: Cast, clip: Clip) -> ShelfClip:
    return ShelfClip.objects.create(
        clip=clip, fault="Breath into the stroke", remedy="One goggle out", put_by=cast.coach
    )


def publication(cast: Cast, clip: Clip, *, agreed: bool = True) -> Publication:
    now = timezone.now()
    swimmer = clip.swim.entry.swimmer.user
    said = {"admin_said_at": now, "admin_said_by": cast.admin} if agreed else {}
    return Publication.objects.create(
        clip=clip, swimmer_said_at=now, swimmer_said_by=swimmer, **said
    )


def report(cast: Cast, clip: Clip, by: Any = None) -> MinorReport:
    return MinorReport.objects.create(clip=clip, reported_by=by or cast.coach)


def pass_again(swim: Swim, rendered_at: dt.datetime | None = None) -> None:
    """Its clips were made again, and a checker passed them on."""
    rendered_at = rendered_at or FIRST_START + LATER
    swim.clips.update(rendered_at=rendered_at)
    Swim.objects.filter(pk=swim.pk).update(passed_at=rendered_at + dt.timedelta(minutes=1))


def recording_of(cast: Cast) -> Recording:
    return cast.recordings["underwater"]
