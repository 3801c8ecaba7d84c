"""All that may hold a trace of a swimmer, and the search for it: every row, every file."""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection
from django.utils import timezone

from clinics.actions import persons
from clinics.models import (
    Consent,
    ConsentRequest,
    Custody,
    Recognised,
    Share,
    StartLogEntry,
    Swim,
)
from feedback.models import CommentVersion, FeedbackSent, LastLooked, Phrase
from portal.actions import erase
from portal.actions.job_worker import drain
from portal.actions.mail import queue_mail
from portal.models import (
    KnownDevice,
    PersonRequest,
    SignInCode,
)
from portal.registry import Person
from tests.cast import Cast, make_stored
from tests.feedback.said import comment, drawing

NAME, EMAIL = "Tomas Birk", "tomas.birk@harbourlane.example"
DISTINCT = b"\x00distinctive \xf0\x9f\x90\xac bytes of one swimmer\xff" + uuid.uuid4().bytes
WORDS = "keep-the-elbow-high-4711"


def person(cast: Cast, who: str = "tomas") -> Person:
    found = persons.find(cast.swims[who].entry.swimmer_id)
    assert found is not None
    return found


def its_day_comes(row: PersonRequest) -> None:
    PersonRequest.objects.filter(pk=row.pk).update(act_at=timezone.now())
    assert erase.ask_due() == 1
    drain()
    row.refresh_from_db()


def roots() -> list[Path]:
    places = (settings.WORK_DIR, settings.UPLOADS_DIR, settings.ORIGINALS_DIR)
    return [Path(place) for place in (*places, default_storage.path(""))]


def seed(cast: Cast) -> dict[str, Any]:
    """All that may hold a trace of Tomas, beside what the cast has."""
    swim, user = cast.swims["tomas"], cast.tomas
    clip = cast.clips["tomas"][0]
    video = clip.files.get(kind="video").stored
    video.local_path().write_bytes(DISTINCT)
    video.sha256 = hashlib.sha256(DISTINCT).hexdigest()
    video.save()
    line = StartLogEntry.objects.create(
        clinic=cast.clinic,
        client_id="a1",
        entry=swim.entry,
        instant=swim.start_at,
        note=f"{NAME} in a red cap",
    )
    Swim.objects.filter(pk=swim.pk).update(log_entry=line)
    other = StartLogEntry.objects.create(
        clinic=cast.clinic,
        client_id="a2",
        entry=cast.swims["wren"].entry,
        instant=cast.swims["wren"].start_at,
        note=f"went after {NAME}",
    )
    said = comment(swim, cast.coach, WORDS)
    CommentVersion.objects.create(comment=said, text=WORDS + " before")
    comment(swim, user, "And my hips? " + WORDS)
    own_elsewhere = comment(cast.swims["wren"], user, "Nice turn, says " + WORDS)
    comment(cast.swims["wren"], cast.coach, "Thank you", reply_to=own_elsewhere)
    naming = comment(cast.swims["wren"], cast.coach, f"Breathe as {NAME} does.")
    drawing(swim, cast.coach, cast.recordings["start-side"])
    FeedbackSent.objects.create(swim=swim, one_thing=WORDS, points=[WORDS], sent_by=cast.coach)
    sent_to_wren = FeedbackSent.objects.create(
        swim=cast.swims["wren"], one_thing="Roll", points=[f"like {NAME.upper()}"]
    )
    Phrase.objects.create(coach=cast.coach, text=f"{NAME} again!")
    LastLooked.objects.create(user=cast.coach, swim=swim)
    Recognised.objects.create(swim=cast.swims["wren"], swimmer=swim.entry.swimmer)
    sheet = make_stored(cast.harbour, b"paper signed " + DISTINCT, kind="sheet", suffix=".jpg")
    Consent.objects.filter(swimmer=swim.entry.swimmer).update(sheet=sheet)
    ConsentRequest.objects.create(
        swimmer=swim.entry.swimmer,
        clinic=cast.clinic,
        token_hash="h" * 64,
        expires_at=timezone.now(),
    )
    Share.objects.create(
        swim=swim,
        token_hash="s" * 64,
        made_by=user,
        note="for my sister",
        expires_at=timezone.now() + dt.timedelta(days=3),
    )
    queue_mail(to=EMAIL.upper(), subject="Hello", body=f"Hello {NAME}")
    queue_mail(to="mara.lindqvist@harbourlane.example", subject=f"{NAME} asks", body=EMAIL)
    SignInCode.objects.create(
        email=EMAIL, user=user, code_hash="c", browser_hash="b", expires_at=timezone.now()
    )
    KnownDevice.objects.create(user=user, token_hash="t", label=f"Phone of {NAME}")
    Custody.objects.create(clinic=cast.clinic, kind="card", label="Card 3", holder=NAME)
    left = Path(settings.WORK_DIR) / f"render-{clip.pk.hex}-x1y2" / "out"  # by a killed worker
    left.mkdir(parents=True)
    (left / "film.mp4").write_bytes(DISTINCT)
    return {
        "video": video,
        "sheet": sheet,
        "line": line,
        "other": other,
        "own_elsewhere": own_elsewhere,
        "naming": naming,
        "sent_to_wren": sent_to_wren,
    }


def dump() -> str:
    """Every row of every table, as text; binary columns too."""
    told = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            told += [f"{table}: {row!r}" for row in cursor.fetchall()]
    return "\n".join(told)


def files_holding(*needles: bytes) -> list[Path]:
    found = []
    for root in roots():
        for path in root.rglob("*"):
            if path.is_file() and any(needle in path.read_bytes() for needle in needles):
                found.append(path)
    return found
