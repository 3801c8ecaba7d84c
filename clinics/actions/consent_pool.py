"""At the pool: swimmers answer on a phone of the crew, offline if need be.

The phone is made ready by a fresh sign-in; from then on it holds a pass for the day, with which
it may send answers later. Whoever has the pass but no longer works at the clinic sends nothing.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.core import signing
from django.core.exceptions import PermissionDenied
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.consent import ConsentRefused, How
from clinics.actions.consent_answers import Answers, take_answers
from clinics.models import Clinic, Consent, Entry

if TYPE_CHECKING:
    from portal.models import User

SALT = "clinics.consent-pool"
PASS_LASTS = dt.timedelta(hours=16)
TOO_OLD = dt.timedelta(days=14)


def make_pass(*, clinic: Clinic, by: User) -> str:
    return signing.dumps([str(clinic.pk), str(by.pk)], salt=SALT)


def pass_is_good(told: str, *, clinic: Clinic, by: User) -> bool:
    try:
        found = signing.loads(told, salt=SALT, max_age=PASS_LASTS)
    except signing.BadSignature:
        return False
    return bool(found == [str(clinic.pk), str(by.pk)])


def answer_at_pool(
    *, entry: Entry, answers: Answers, client_id: str, instant: dt.datetime, by: User
) -> list[Consent]:
    """Raises ConsentRefused. Sent twice changes nothing; a phone whose clock is ahead has said it
    now."""
    if not Clinic.objects.worked_by(by).filter(pk=entry.clinic_id).exists():
        raise PermissionDenied("only who works at the clinic sends answers from the pool")
    now = timezone.now()
    if instant < now - TOO_OLD:
        raise ConsentRefused(
            _("The clock of this phone is wrong by weeks. Set it, and ask the swimmer again.")
        )
    at = min(instant, now)
    how = How(method=Consent.Method.POOL, by=by, client_id=client_id, at=at)
    return take_answers(swimmer=entry.swimmer, answers=answers, how=how, clinic=entry.clinic)
