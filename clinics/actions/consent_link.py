"""Answering by a personal link, and taking back what was said, without an account."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from clinics.actions.consent import How, end_in_force, in_force, locked
from clinics.actions.consent_answers import Answers, take_answers
from clinics.models import Consent, ConsentRequest


@transaction.atomic
def answer_by_link(*, request: ConsentRequest, answers: Answers) -> list[Consent]:
    """Raises ConsentRefused. The link stays good until its last day: answers may change."""
    how = How(method=Consent.Method.LINK)
    taken = take_answers(swimmer=request.swimmer, answers=answers, how=how, clinic=request.clinic)
    request.answered_at = timezone.now()
    request.save(update_fields=["answered_at"])
    return taken


@transaction.atomic
def end_by_link(*, request: ConsentRequest, purpose: str) -> Consent | None:
    """Whoever agreed by the link withdraws by it, as easily."""
    swimmer = locked(request.swimmer)
    current = in_force(swimmer, purpose)
    return end_in_force(current, swimmer=swimmer, by=None) if current else None
