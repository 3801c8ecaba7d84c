"""A sheet signed on paper: an admin records what it says, with a photo or scan of it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import IO, TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.translation import gettext as _
from PIL import Image, ImageOps

from clinics.actions.consent import ConsentRefused, How
from clinics.actions.consent_answers import Answers, take_answers
from clinics.media.errors import MediaError
from clinics.media.images import open_image
from clinics.models import Clinic, Consent, Swimmer
from portal.actions.files import publish, work_dir
from portal.models import Club, StoredFile

if TYPE_CHECKING:
    from portal.models import User

SHEETS = "consent-sheets"  # the keeping rule: for as long as the answer it shows is kept
LONGEST_SIDE_PX = 2400  # handwriting on A4 reads well
CHUNK_BYTES = 1024 * 1024


@transaction.atomic
def record_paper(
    *,
    swimmer: Swimmer,
    clinic: Clinic,
    answers: Answers,
    signed_at: dt.datetime,
    picture: IO[bytes],
    by: User,
) -> list[Consent]:
    """Raises ConsentRefused and keeps nothing. A sheet that comes late does not undo what the
    swimmer said after it was signed."""
    if not Swimmer.objects.managed_by(by).filter(pk=swimmer.pk).exists():
        raise PermissionDenied("only an admin of the club records a sheet")
    if not answers.choices:
        raise ConsentRefused(_("Say for at least one purpose what the sheet says."))
    sheet = keep_sheet(picture=picture, club=swimmer.club)
    how = How(method=Consent.Method.PAPER, by=by, sheet=sheet, at=signed_at)
    return take_answers(swimmer=swimmer, answers=answers, how=how, clinic=clinic)


def keep_sheet(*, picture: IO[bytes], club: Club) -> StoredFile:
    """The picture, drawn anew: whatever else the file carried, its place among it, is gone."""
    with work_dir("sheet") as folder:
        sent, clean = folder / "sent", folder / "sheet.jpg"
        _write(picture, sent)
        try:
            with open_image(sent) as image:
                _draw_anew(image, clean)
        except MediaError:
            raise ConsentRefused(
                _("The picture of the sheet cannot be read. Send a JPEG, PNG or WebP.")
            ) from None
        return publish(
            temporary=clean,
            area=StoredFile.Area.MEDIA,
            kind="consent-sheet",
            club=club,
            keeping_rule=SHEETS,
            content_type="image/jpeg",
            suffix=".jpg",
        )


def _write(picture: IO[bytes], path: Path) -> None:
    with path.open("wb") as out:
        while piece := picture.read(CHUNK_BYTES):
            out.write(piece)


def _draw_anew(image: Image.Image, path: Path) -> None:
    upright = ImageOps.exif_transpose(image).convert("RGB")
    upright.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    plain = Image.new("RGB", upright.size)
    plain.paste(upright)
    plain.save(path, "JPEG", quality=85)
