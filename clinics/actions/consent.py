"""Recording that a swimmer agrees, and that a swimmer no longer does. History stays."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.align import ask_to_align
from clinics.actions.clip_files import RENDER_KIND
from clinics.actions.consent_names import Names, names_for, names_somebody_new, next_clinic
from clinics.actions.consent_texts import texts_of
from clinics.actions.dropped import plan_dropped
from clinics.actions.keeping import begin_deletion, lift_deletion
from clinics.models import Clinic, Clip, Consent, Swim, Swimmer
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record
from portal.actions.jobs import OPEN, cancel
from portal.actions.ledger import note_withdrawn
from portal.models import Job

if TYPE_CHECKING:
    from clinics.models import ConsentText
    from portal.models import StoredFile, User


class ConsentRefused(Exception):
    """It cannot be recorded; the sentence says why and what to do next."""


def locked(swimmer: Swimmer) -> Swimmer:
    return Swimmer.objects.select_for_update().select_related("club").get(pk=swimmer.pk)


def _is_admin(swimmer: Swimmer, by: User) -> bool:
    return Swimmer.objects.managed_by(by).filter(pk=swimmer.pk).exists()


@dataclass(frozen=True)
class How:
    """In which way an answer came, and what the swimmer had before them."""

    method: str = Consent.Method.ADMIN
    by: User | None = None  # who was signed in; nobody by a personal link
    text: ConsentText | None = None
    names: dict[str, Any] = field(default_factory=dict)
    clinic: Clinic | None = None
    sheet: StoredFile | None = None
    client_id: str = ""
    at: dt.datetime | None = None  # when it was said; None: now


@transaction.atomic
def record_consent(*, swimmer: Swimmer, purpose: str, by: User) -> Consent:
    """An admin of the club records that the swimmer agrees. Adults only."""
    if not _is_admin(swimmer, by):
        raise PermissionDenied("only an admin of the club records consent")
    swimmer = locked(swimmer)
    if purpose not in Consent.Purpose.values:
        raise ConsentRefused(_("There is no such purpose."))
    text = texts_of(swimmer.club).get(purpose, by.language)
    current, clinic = in_force(swimmer, purpose), next_clinic(swimmer)
    names = names_for(swimmer.club, clinic) if text else {}
    if current is not None and (text is None or still_says(current, text, names)):
        return current
    how = How(by=by, text=text, names=names, clinic=clinic if text else None)
    return put_in_force(swimmer=swimmer, purpose=purpose, how=how)


def in_force(swimmer: Swimmer, purpose: str) -> Consent | None:
    consents = swimmer.consents.select_related("text")
    return consents.filter(purpose=purpose, ended_at__isnull=True).first()


def is_of(consent: Consent, text: ConsentText) -> bool:
    """Was this version agreed to, in whatever language?"""
    return consent.text is not None and consent.text.version == text.version


def still_says(consent: Consent, text: ConsentText, names: Names) -> bool:
    """Would the swimmer agree to the same once more: this version, and nobody new in it?"""
    return is_of(consent, text) and not names_somebody_new(consent.names, names)


def put_in_force(*, swimmer: Swimmer, purpose: str, how: How) -> Consent:
    """The swimmer agrees. The caller holds the swimmer's row. What was agreed to before ends in
    the same instant, and nothing of it is lost. Raises ConsentRefused."""
    if swimmer.adult_attested_at is None:
        raise ConsentRefused(
            _(
                "%(name)s has not said to be 18 or older, so nobody may film them. Put "
                "“yes” for adult in the roster first."
            )
            % {"name": swimmer.name}
        )
    at = how.at or timezone.now()
    replaced = swimmer.consents.filter(purpose=purpose, ended_at__isnull=True).update(ended_at=at)
    consent = write_answer(swimmer, purpose, how, choice=Consent.Choice.AGREES, at=at)
    if purpose == FILM_AND_REVIEW and not replaced:
        lift_deletion(swimmer=swimmer)
        _ask_to_cut(swimmer, how.by)
    return consent


def write_answer(
    swimmer: Swimmer,
    purpose: str,
    how: How,
    *,
    choice: str,
    at: dt.datetime,
    ended_at: dt.datetime | None = None,
) -> Consent:
    """The row and its audit entry; what follows from it is the caller's."""
    consent = Consent.objects.create(
        swimmer=swimmer,
        purpose=purpose,
        choice=choice,
        given_at=at,
        ended_at=ended_at,
        method=how.method,
        recorded_by=how.by,
        text=how.text,
        names=how.names,
        clinic=how.clinic,
        sheet=how.sheet,
        client_id=how.client_id,
    )
    told = {"consent": str(consent.pk), "purpose": purpose, "method": how.method, "choice": choice}
    record(action="consent.record", by=how.by, subject=swimmer, club=swimmer.club, detail=told)
    return consent


def _ask_to_cut(swimmer: Swimmer, by: User | None) -> None:
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
    swimmer = locked(swimmer)
    consent = in_force(swimmer, purpose)
    return end_in_force(consent, swimmer=swimmer, by=by) if consent else None


def end_in_force(
    consent: Consent, *, swimmer: Swimmer, by: User | None, at: dt.datetime | None = None
) -> Consent:
    """The caller holds the swimmer's row and has asked who may."""
    consent.ended_at = at or timezone.now()
    consent.save(update_fields=["ended_at"])
    if consent.purpose == FILM_AND_REVIEW:
        begin_deletion(swimmer=swimmer, withdrawn_at=consent.ended_at)
        _drop_pictures(swimmer)
    note_withdrawn("clinics.Swimmer", swimmer.pk, consent.purpose)
    record(
        action="consent.end",
        by=by,
        subject=swimmer,
        club=swimmer.club,
        detail={"consent": str(consent.pk), "purpose": consent.purpose},
    )
    if consent.purpose == FILM_AND_REVIEW:
        _cancel_renders(swimmer, by)
    return consent


def _drop_pictures(swimmer: Swimmer) -> None:
    """Of the recordings of clinics where they swam, their spans are shown to nobody."""
    clinics = Clinic.objects.filter(entries__swimmer=swimmer).exclude(state=Clinic.State.CLOSED)
    for clinic in clinics.distinct():
        plan_dropped(clinic=clinic)


def _cancel_renders(swimmer: Swimmer, by: User | None) -> None:
    """What waits to be made of this swimmer is not made."""
    clips = Clip.objects.filter(swim__entry__swimmer=swimmer).values("pk")
    open_jobs = Job.objects.filter(kind=RENDER_KIND, subject_id__in=clips, state__in=OPEN)
    for job in open_jobs:
        cancel(job=job, by=by)
