"""What a restore does again of clinics: what ended or was hidden since the backup is so again.

Registered for the lines of the deletion ledger (`portal.actions.replay`).
"""

from __future__ import annotations

from django.db.models import Q

from clinics.actions.dropped import plan_dropped
from clinics.actions.keeping import begin_deletion
from clinics.models import Clinic, Consent, MinorReport, Swim, Swimmer
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.ledger import MINOR, NOT_ME
from portal.actions.replay_site import A_MOMENT
from portal.ledger_line import Line
from portal.registry import LedgerReplay

AGAIN_ORDER = 200


def end_consent_again(line: Line) -> bool:
    """Ended at the instant at which it ended. What was agreed to after that instant stays."""
    given = Consent.objects.filter(
        swimmer_id=line.id, purpose=line.purpose, given_at__lte=line.when
    )
    ended = given.filter(ended_at__isnull=True).update(ended_at=line.when)
    if ended and line.purpose == FILM_AND_REVIEW:
        swimmer = Swimmer.objects.get(pk=line.id)
        begin_deletion(swimmer=swimmer, withdrawn_at=line.when)
        open_clinics = Clinic.objects.exclude(state=Clinic.State.CLOSED)
        for clinic in open_clinics.filter(entries__swimmer=swimmer).distinct():
            plan_dropped(clinic=clinic)
    return bool(ended)


def hide_again(line: Line) -> bool:
    """“This is not me” was said: out of sight until a checker finds out anew whose swim it is."""
    swim = Swim.objects.filter(pk=line.id).exclude(person=Swim.Person.WRONG)
    known = Q(person_at__isnull=True) | Q(person_at__lte=line.when)
    hidden = {"person": Swim.Person.WRONG, "person_by": None, "person_at": line.when}
    taken_back = dict.fromkeys(("passed_at", "passed_by", "given_at", "given_by", "number_seen"))
    return bool(swim.filter(known).update(**hidden, **taken_back))


def report_again(line: Line) -> bool:
    """A minor was seen: nobody sees the clip until two people have looked, anew if need be."""
    reports = MinorReport.objects.filter(clip_id=line.id, reported_at__gte=line.when - A_MOMENT)
    if reports.exists():
        return False
    MinorReport.objects.create(clip_id=line.id, reported_at=line.when)
    return True


REPLAYS = (
    LedgerReplay("withdrawn clinics.Swimmer", AGAIN_ORDER, end_consent_again),
    LedgerReplay(f"withdrawn clinics.Swim {NOT_ME}", AGAIN_ORDER, hide_again),
    LedgerReplay(f"withdrawn clinics.Clip {MINOR}", AGAIN_ORDER, report_again),
)
