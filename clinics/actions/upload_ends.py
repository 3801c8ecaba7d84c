"""Uploads that come to nothing: given up by their owner, or not sent to for too long."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.upload_cards import ask_to_take_in, ask_when_card_is_here
from clinics.actions.upload_parts import part_path, parts_kept
from clinics.models import Upload
from portal.actions import audit

if TYPE_CHECKING:
    from portal.models import User

STRAY_OLD_S = 86_400.0


def is_gone(upload: Upload) -> bool:
    """Ended by its owner, or not sent to for so long that it expired."""
    expired = upload.state == Upload.State.OPEN and upload.expires_at <= timezone.now()
    return expired or upload.state == Upload.State.ENDED


def end(*, upload: Upload, by: User) -> None:
    """Give up an upload and delete its bytes. One that is taken in stays as it is."""
    unfinished = [Upload.State.OPEN, Upload.State.COMPLETE, Upload.State.REFUSED]
    with transaction.atomic():
        rows = Upload.objects.filter(pk=upload.pk, state__in=unfinished)
        if rows.update(state=Upload.State.ENDED) == 0:
            return
        upload.state = Upload.State.ENDED
        audit.record(action="upload.end", by=by, subject=upload, club=upload.station.clinic.club)
        ask_when_card_is_here(upload)
    part_path(upload).unlink(missing_ok=True)


def end_expired(*, at_most: int = 200) -> int:
    """Delete what nobody went on sending: for the sweep. How many uploads or files went.

    Files that are here whole, but of a card of which the rest never came, are not thrown away
    unasked: after the same time they are taken in as they are.
    """
    late = Upload.objects.filter(state=Upload.State.OPEN, expires_at__lte=timezone.now())
    ended = 0
    for upload in late.order_by("expires_at")[:at_most]:
        ended += Upload.objects.filter(
            pk=upload.pk, state=Upload.State.OPEN, expires_at__lte=timezone.now()
        ).update(state=Upload.State.ENDED)
        part_path(upload).unlink(missing_ok=True)
    return ended + _end_forgotten(at_most) + _remove_strays()


def _end_forgotten(at_most: int) -> int:
    now = timezone.now()
    late = Upload.objects.filter(state=Upload.State.COMPLETE, expires_at__lte=now)
    ended = 0
    for upload in late.select_related("station__clinic").order_by("expires_at")[:at_most]:
        given = parts_kept(upload.station)
        if upload.station.clinic.state != "closed" and upload.expires_at + given > now:
            ask_to_take_in(upload=upload)
            continue
        reason = _("It was never taken in, and too much time has passed. Bring it in again.")
        ended += late.filter(pk=upload.pk).update(state=Upload.State.REFUSED, reason=reason)
        part_path(upload).unlink(missing_ok=True)
    return ended


def _remove_strays() -> int:
    """Files in the folder that no upload will go on with, once they are old."""
    folder = Path(settings.UPLOADS_DIR)
    before = time.time() - STRAY_OLD_S
    old = [path for path in folder.glob("*") if path.is_file() and path.stat().st_mtime < before]
    going_on = [Upload.State.OPEN, Upload.State.COMPLETE]
    known = {part_path(row) for row in Upload.objects.filter(state__in=going_on)} if old else set()
    strays = [path for path in old if path not in known]
    for path in strays:
        path.unlink(missing_ok=True)
    return len(strays)
