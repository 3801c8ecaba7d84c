"""Is there room for more: in the club's quota, and on the server's disk?"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.db.models import Sum
from django.utils.translation import gettext as _

from clinics.models import Upload
from portal.models import StoredFile

if TYPE_CHECKING:
    from portal.models import Club


class NoRoom(Exception):
    """The club's quota or the disk's reserve would be used up; the sentence is for a person."""


def check_room(*, club: Club, more_bytes: int, on_disk_bytes: int | None = None) -> None:
    """Raise NoRoom unless the club's quota takes `more_bytes` and the disk `on_disk_bytes`
    (the same unless said) beyond its reserve."""
    kept = StoredFile.objects.filter(club=club, state=StoredFile.State.READY)
    sending = Upload.objects.filter(
        station__clinic__club=club, state__in=[Upload.State.OPEN, Upload.State.COMPLETE]
    )
    used = sum(rows.aggregate(sum=Sum("size_bytes"))["sum"] or 0 for rows in (kept, sending))
    if used + more_bytes > settings.CLUB_QUOTA_BYTES:
        raise NoRoom(
            _("The club's space for recordings is used up. Ask an admin to make room, then go on.")
        )
    needed = more_bytes if on_disk_bytes is None else on_disk_bytes
    free = shutil.disk_usage(_existing(Path(settings.UPLOADS_DIR))).free
    if free - needed < settings.FREE_SPACE_RESERVE_BYTES:
        raise NoRoom(_("The server's disk is nearly full. Ask an admin to make room, then go on."))


def _existing(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    return folder
