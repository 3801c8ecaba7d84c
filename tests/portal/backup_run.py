"""Acts of the backup drill inside a site of its own; each prints one line of JSON.

    python -m tests.portal.backup_run build | withdraw | erase | look

Tomas withdraws, Wren is erased, Sol stays. In the environment of `tests.portal.site`.
"""

from __future__ import annotations

import datetime as dt
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import django

django.setup()

from django.apps import apps  # noqa: E402
from django.conf import settings  # noqa: E402
from django.contrib.sessions.models import Session  # noqa: E402
from django.core import serializers  # noqa: E402
from django.db import connection, transaction  # noqa: E402
from django.db.models import QuerySet  # noqa: E402
from django.test import Client  # noqa: E402
from django.utils import timezone  # noqa: E402

from clinics.actions.consent import end_consent  # noqa: E402
from clinics.models import Clip, Consent, Share, Swim, Swimmer  # noqa: E402
from feedback.models import Comment  # noqa: E402
from portal.actions import audit, ledger, maintenance  # noqa: E402
from portal.actions.erase import ask_due, ask_to_erase  # noqa: E402
from portal.actions.job_worker import drain  # noqa: E402
from portal.actions.people import end_membership  # noqa: E402
from portal.actions.requests import person_of  # noqa: E402
from portal.actions.sessions import deactivate  # noqa: E402
from portal.models import Membership, PersonRequest, StoredFile, User  # noqa: E402
from portal.registry import Person  # noqa: E402
from tests.cast import FIRST_START, build_cast, make_stored, sign_in  # noqa: E402

SAID = "Wren, your elbow drops before the catch"
PAINTED = b"the very bytes of Wren's picture"


def build() -> dict[str, Any]:
    """A clinic that was filmed and talked about, and people who are signed in."""
    cast = build_cast()
    wrens = cast.swims["wren"]
    Comment.objects.create(
        swim=wrens, author=cast.coach, text=SAID, on_swim=True, sent_at=timezone.now()
    )
    file = cast.clips["wren"][0].files.get(kind="poster")
    file.stored = make_stored(cast.harbour, PAINTED, kind="poster", suffix=".jpg")
    file.save()
    original = make_stored(
        cast.harbour, b"as the camera wrote it", kind="original", suffix=".mts", area="originals"
    )
    Consent.objects.create(swimmer=swimmer("tomas"), purpose="publish", given_at=FIRST_START)
    Share.objects.create(
        swim=cast.swims["tomas"],
        token_hash="ab" * 32,
        made_by=cast.tomas,
        expires_at=timezone.now() + dt.timedelta(days=9),
    )
    sign_in(Client(), cast.coach)
    audit.record(action="tried", by=cast.admin, subject=cast.clinic, club=cast.harbour)
    return {"original": str(original.local_path())}


def swimmer(name: str) -> Swimmer:
    return Swimmer.objects.get(user__email__startswith=f"{name}.")


def person(name: str) -> Person:
    found = person_of("clinics.Swimmer", swimmer(name).pk)
    assert found is not None
    return found


def harbours_coaches() -> QuerySet[Membership]:
    return Membership.objects.current().filter(role="coach", club__slug="harbour-lane-masters")


def withdraw() -> dict[str, Any]:
    """Tomas: to be filmed, not to be published; the share too. A coach and a user are out."""
    user = User.objects.get(email__startswith="tomas.")
    end_consent(swimmer=swimmer("tomas"), purpose="film-and-review", by=user)
    with transaction.atomic():
        share = Share.objects.get()
        Share.objects.filter(pk=share.pk).update(ended_at=timezone.now())
        ledger.note_withdrawn("clinics.Share", share.pk, "")
    end_membership(membership=harbours_coaches().get(), by=None)
    deactivate(user=User.objects.get(email__startswith="edda."), by=None)
    return {}


def erase() -> dict[str, Any]:
    """Wren: asked for, its day comes, done. Sol has asked, and its day has not come."""
    user = User.objects.get(email__startswith="wren.")
    row = ask_to_erase(person=person("wren"), by=user)
    PersonRequest.objects.filter(pk=row.pk).update(act_at=timezone.now())
    ask_due()
    drain()
    row.refresh_from_db()
    sol = User.objects.get(email__startswith="sol.")
    ask_to_erase(person=person("sol"), by=sol)
    return {"state": row.state, "files": len(row.certificate["files"])}


def database_files() -> list[bytes]:
    """SQLite's own, in which deleted rows may still be legible."""
    if connection.vendor != "sqlite":
        return []
    return [path.read_bytes() for path in Path(settings.DATA_DIR).glob("sidelane.db*")]


def look() -> dict[str, Any]:
    """What there is now, asked the long way round: the dumped database, the bytes on disk."""
    dumped = "".join(
        serializers.serialize("json", model._base_manager.all()) for model in apps.get_models()
    )
    bytes_on_disk = [
        path.read_bytes()
        for path in Path(settings.DATA_DIR).rglob("*")
        if path.is_file() and path.suffix not in {".db", ".db-wal", ".db-shm"}
    ]
    tomas, coach = swimmer("tomas"), User.objects.get(email__startswith="ines.")
    ready = StoredFile.objects.filter(state="ready")
    return {
        "wren said": SAID in dumped,
        "wren painted": any(PAINTED in content for content in bytes_on_disk),
        "wren named": "Wren Okada" in dumped or "wren.okada@" in dumped,
        "wrens swims": Swim.objects.filter(entry__swimmer__user__email__startswith="wren.").count(),
        "legible": any(SAID.encode() in content for content in database_files()),
        "sols swims": Swim.objects.filter(entry__swimmer=swimmer("sol")).count(),
        "sol waits to be erased": PersonRequest.objects.filter(
            kind="erase", state="waiting", subject_id=swimmer("sol").pk
        ).count(),
        "tomas agrees to": sorted(
            tomas.consents.filter(ended_at__isnull=True).values_list("purpose", flat=True)
        ),
        "coach sees": Swim.objects.visible_to(coach).count(),
        "tomas goes by": all(
            clip.delete_by is not None for clip in Clip.objects.filter(swim__entry__swimmer=tomas)
        ),
        "shares open": Share.objects.filter(ended_at__isnull=True).count(),
        "coaches": harbours_coaches().count(),
        "edda": User.objects.filter(email__startswith="edda.", is_active=True).count(),
        "sessions": Session.objects.count(),
        "files missing": [
            file.name for file in ready.exclude(area="originals") if not file.local_path().exists()
        ],
        "ready": ready.count(),
        "maintenance": maintenance.is_on(),
        "trail holds": audit.verify_chain().broken_at is None,
    }


ACTS: dict[str, Callable[[], dict[str, Any]]] = {
    "build": build,
    "withdraw": withdraw,
    "erase": erase,
    "look": look,
}

if __name__ == "__main__":
    print(json.dumps(ACTS[sys.argv[1]]()))
