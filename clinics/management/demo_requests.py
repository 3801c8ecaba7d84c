"""What the demo's club is asked about data: a letter that waits for its answer."""

from __future__ import annotations

from clinics.actions.persons import SWIMMER
from clinics.models import Clinic
from portal.actions.erase import note_for
from portal.models import PersonRequest, User

WORDS = "Please tell me who has seen my swims, and correct my pace on the roster."


def ask_the_club(*, clinic: Clinic, admin: User) -> None:
    """Of the last swimmer on the roster; made once."""
    entry = clinic.entries.order_by("-number").first()
    if entry is None or PersonRequest.objects.filter(club=clinic.club).exists():
        return
    note_for(
        by=admin,
        kind=PersonRequest.Kind.OTHER,
        subject_kind=SWIMMER,
        subject_id=entry.swimmer_id,
        words=WORDS,
    )
