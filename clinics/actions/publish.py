"""A clip for anyone: only after its swimmer and an admin of the club each said so for it.

Whether it is shown then is the fence's to say: `publish` of the swimmer and of everybody in the
picture, and that nothing was changed in it since both said so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from clinics.models import Clinic, Clip, Publication
from portal.actions.audit import record
from portal.actions.ledger import note_withdrawn

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import User


def own_given(by: User) -> QuerySet[Clip]:
    """Clips of the user's own swims, as the swimmer sees them."""
    mine = Q(swim__entry__swimmer__user_id=by.pk, swim__given_at__isnull=False)
    return Clip.objects.visible_to(by).filter(mine)


@transaction.atomic
def say_as_swimmer(*, clip: Clip, by: User) -> Publication:
    """The swimmer wants this very clip to be seen by anyone; an admin is asked."""
    if not own_given(by).filter(pk=clip.pk).exists():
        raise PermissionDenied("only its swimmer publishes a clip")
    row, _new = Publication.objects.get_or_create(clip=clip, ended_at=None)
    if _counts(row):
        return row
    row.swimmer_said_at, row.swimmer_said_by = timezone.now(), by
    row.admin_said_at = row.admin_said_by = None  # the admin said it of what was there before
    row.save()
    _note("publish.swimmer", row, by)
    return row


def _counts(row: Publication) -> bool:
    """The swimmer said so of the clip as it is, and as theirs."""
    return said_by_swimmer(Publication.objects.filter(pk=row.pk)).exists()


def said_by_swimmer(rows: QuerySet[Publication]) -> QuerySet[Publication]:
    return rows.filter(
        ended_at__isnull=True,
        swimmer_said_by=F("clip__swim__entry__swimmer__user"),
        swimmer_said_at__gte=F("clip__swim__given_at"),
    ).filter(swimmer_said_at__gte=F("clip__rendered_at"))


def asked_of(by: User) -> QuerySet[Publication]:
    """What swimmers of the clubs that the user administers want to publish. No footage."""
    clinics = Clinic.objects.run_by(by).filter(pk=OuterRef("clip__swim__entry__clinic_id"))
    rows = said_by_swimmer(Publication.objects.all()).filter(Exists(clinics))
    return rows.select_related(
        "clip__swim__entry__clinic__club", "clip__swim__entry__swimmer", "clip__station"
    )


@transaction.atomic
def say_as_admin(*, publication: Publication, by: User) -> Publication:
    row = _locked(asked_of(by), publication)
    if row.admin_said_at is None:
        row.admin_said_at, row.admin_said_by = timezone.now(), by
        row.save(update_fields=["admin_said_at", "admin_said_by"])
        _note("publish.admin", row, by)
    return row


@transaction.atomic
def end(*, publication: Publication, by: User) -> Publication:
    """In one tap, by its swimmer or by an admin; from the next request nobody else sees it."""
    theirs = Publication.objects.filter(ended_at__isnull=True)
    own = theirs.filter(clip__swim__entry__swimmer__user_id=by.pk).values("pk")
    run = Clinic.objects.run_by(by).values("pk")
    rows = theirs.filter(Q(pk__in=own) | Q(clip__swim__entry__clinic_id__in=run))
    row = _locked(rows, publication)
    row.ended_at, row.ended_by = timezone.now(), by
    row.save(update_fields=["ended_at", "ended_by"])
    note_withdrawn(Publication._meta.label, row.pk, "")
    _note("publish.end", row, by)
    return row


def _locked(rows: QuerySet[Publication], publication: Publication) -> Publication:
    mine = rows.filter(pk=publication.pk).values("pk")
    found = Publication.objects.select_for_update(of=("self",)).filter(pk__in=mine)
    row = found.select_related("clip__swim__entry__clinic__club").first()
    if row is None:
        raise PermissionDenied("only its swimmer and the club's admins decide this")
    return row


def _note(action: str, row: Publication, by: User) -> None:
    clip = row.clip
    told = {"clip": str(clip.pk), "swim": str(clip.swim_id)}
    record(action=action, by=by, subject=row, club=clip.swim.entry.clinic.club, detail=told)
