"""Recording that a swimmer agrees, and that a swimmer no longer does. History stays."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.align import ask_to_align
from clinics.actions.cut import RENDER_KIND
from clinics.actions.keeping import begin_deletion, lift_deletion
from clinics.models import Clinic, Clip, Consent, Swim, Swimmer
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record
from portal.actions.jobs import OPEN, cancel
from portal.models import Job

if TYPE_CHECKING:
    from portal.models import User


class ConsentRefused(Exception):
    """It cannot be recorded; the sentence says why and what to do next."""


def _locked(swimmer: Swimmer) -> Swimmer:
    return Swimmer.objects.select_for_update().select_related("club").get(pk=swimmer.pk)


def _is_admin(swimmer: Swimmer, by: User) -> bool:
    return Swimmer.objects.managed_by(by).filter(pk=swimmer.pk).exists()


@transaction.atomic
def record_consent(*, swimmer: Swimmer, purpose: str, by: User) -> Consent:
    """An admin of the club records that the swimmer agrees. Adults only (trust 25)."""
    if not _is_admin(swimmer, by):
        raise PermissionDenied("only an admin of the club records consent")
    swimmer = _locked(swimmer)
    if purpose not in Consent.Purpose.values:
        raise ConsentRefused(_("There is no such purpose."))
    if swimmer.adult_attested_at is None:
        raise ConsentRefused(
            _(
                "%(name)s has not said to be 18 or older, so nobody may film them. Put "
                "“yes” for adult in the roster first."
            )
            % {"name": swimmer.name}
        )
    current = swimmer.consents.filter(purpose=purpose, ended_at__isnull=True).first()
    if current is not None:
        return current
    consent = Consent.objects.create(swimmer=swimmer, purpose=purpose, recorded_by=by)
    record(
        action="consent.record",
        by=by,
        subject=swimmer,
        club=swimmer.club,
        detail={"consent": str(consent.pk), "purpose": purpose, "method": consent.method},
    )
    if purpose == FILM_AND_REVIEW:
        lift_deletion(swimmer=swimmer)
        _ask_to_cut(swimmer, by)
    return consent


def _ask_to_cut(swimmer: Swimmer, by: User) -> None:
    """Whoever agrees after swimming gets the clips that were left out until now."""
    swum = Clinic.objects.filter(entries__swimmer=swimmer, entries__swims__isnull=False)
    for clinic in swum.exclude(state=Clinic.State.CLOSED).distinct():
        ask_to_align(clinic=clinic, by=by)


def swims_not_cut(clinic: Clinic) -> QuerySet[Swim]:
    """Swims that get no clips, since their swimmers do not agree to be filmed."""
    current = Consent.objects.filter(purpose=FILM_AND_REVIEW, ended_at__isnull=True)
    swims = Swim.objects.filter(entry__clinic=clinic).select_related("entry__swimmer")
    return swims.exclude(Exists(current.filter(swimmer_id=OuterRef("entry__swimmer_id"))))


@transaction.atomic
def end_consent(*, swimmer: Swimmer, purpose: str, by: User) -> Consent | None:
    """From the next request on nobody else sees the swimmer; clips are no longer made, and
    those that are there get the date by which they go.

    By the swimmer, or by an admin whom the swimmer told. None: there was nothing to end.
    """
    if swimmer.user_id != by.pk and not _is_admin(swimmer, by):
        raise PermissionDenied("only the swimmer or an admin of the club ends a consent")
    swimmer = _locked(swimmer)
    consent = swimmer.consents.filter(purpose=purpose, ended_at__isnull=True).first()
    if consent is None:
        return None
    consent.ended_at = timezone.now()
    consent.save(update_fields=["ended_at"])
    if purpose == FILM_AND_REVIEW:
        begin_deletion(swimmer=swimmer, withdrawn_at=consent.ended_at)
    record(
        action="consent.end",
        by=by,
        subject=swimmer,
        club=swimmer.club,
        detail={"consent": str(consent.pk), "purpose": purpose},
    )
    _cancel_renders(swimmer, by)
    return consent


def _cancel_renders(swimmer: Swimmer, by: User) -> None:
    """What waits to be made of this swimmer is not made (trust 24)."""
    clips = Clip.objects.filter(swim__entry__swimmer=swimmer).values("pk")
    open_jobs = Job.objects.filter(kind=RENDER_KIND, subject_id__in=clips, state__in=OPEN)
    for job in open_jobs:
        cancel(job=job, by=by)
