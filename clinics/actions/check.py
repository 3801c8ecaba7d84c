"""Checking swims before anybody else sees them: who is it, and who else can be recognised?

Only a person can say, so only a person passes a swim on (pass_on.py). Each verb asks whether `by`
may do it, writes one transaction and one audit record.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Max
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from clinics.actions.check_rows import CheckRefused, audit_swim, for_checking
from clinics.actions.clip_files import cancel_render
from clinics.actions.keeping import begin_deletion_of
from clinics.actions.pass_on import NotPassed, pass_swims, who_agrees
from clinics.models import Duty, Recognised, Swim
from portal.actions.ledger import NOT_ME, note_withdrawn
from portal.actions.mail import queue_mail

if TYPE_CHECKING:
    from clinics.models import Entry, Swimmer
    from portal.models import User


@transaction.atomic
def confirm_person(*, swim: Swim, by: User, person_number: int | None = None) -> Swim:
    """The checker has seen who it is: by the number on the card, or (None) by face."""
    swim = for_checking(swim, by)
    if person_number is not None and person_number != swim.entry.number:
        raise CheckRefused(_wrong_number(swim, person_number))
    if swim.person == Swim.Person.CONFIRMED and swim.number_seen == person_number:
        return swim
    swim.person = Swim.Person.CONFIRMED
    swim.person_by, swim.person_at, swim.number_seen = by, timezone.now(), person_number
    swim.save(update_fields=["person", "person_by", "person_at", "number_seen"])
    audit_swim("swim.confirm_person", swim, by, how="number" if person_number else "face")
    return swim


def _wrong_number(swim: Swim, number: int) -> str:
    other = swim.entry.clinic.entries.filter(number=number).select_related("swimmer").first()
    mine = {"name": swim.entry.swimmer.name, "number": swim.entry.number, "seen": number}
    if other is None:
        return (
            _(
                "Nobody in this clinic has number %(seen)s; %(name)s has %(number)s. "
                "Look at the card again."
            )
            % mine
        )
    return _(
        "Number %(seen)s is %(other)s, and this swim is noted for %(name)s, number %(number)s. "
        "If the card says %(seen)s, choose “somebody else” and %(other)s."
    ) % {**mine, "other": other.swimmer.name}


@transaction.atomic
def record_others(*, swim: Swim, swimmers: Iterable[Swimmer], by: User) -> Swim:
    """Who else can be recognised in the swim's clips. An empty list means nobody."""
    swim = for_checking(swim, by)
    others = {swimmer.pk: swimmer for swimmer in swimmers}
    if swim.entry.swimmer_id in others:
        raise CheckRefused(_("The swimmer is not one of the others. Choose only who else is seen."))
    if any(other.club_id != swim.entry.clinic.club_id for other in others.values()):
        raise PermissionDenied("a swimmer of another club")
    known = set(swim.recognised.values_list("swimmer_id", flat=True))
    if swim.others_recorded_at is not None and known == others.keys():
        return swim
    swim.recognised.exclude(swimmer_id__in=others).delete()
    for pk in others:
        Recognised.objects.get_or_create(swim=swim, swimmer_id=pk)
    swim.others_recorded_at, swim.others_recorded_by = timezone.now(), by
    swim.save(update_fields=["others_recorded_at", "others_recorded_by"])
    audit_swim("swim.record_others", swim, by, swimmers=sorted(str(pk) for pk in others))
    return swim


def _take_back(swim: Swim) -> None:
    """Nobody but the checker sees it from now on; the audit trail keeps what was."""
    swim.passed_at = swim.passed_by = swim.given_at = swim.given_by = None


def look_anew(swim: Swim, by: User) -> None:
    """The swim is somebody else's now: who it is and who else is in it is open again, and what
    was passed on or given is taken back. The caller saves it."""
    _take_back(swim)
    swim.person, swim.person_by, swim.person_at = Swim.Person.UNCONFIRMED, by, timezone.now()
    swim.number_seen = swim.others_recorded_at = swim.others_recorded_by = None
    swim.recognised.all().delete()


def _hide_and_date(swim: Swim, by: User) -> None:
    """Whoever it is does not agree to be filmed: what waits to be made of them is not made, and
    what there is goes as after a withdrawal. The fence hides it from this instant."""
    begin_deletion_of(swims=Swim.objects.filter(pk=swim.pk), withdrawn_at=timezone.now())
    for clip in swim.clips.all():
        cancel_render(clip, by)


@transaction.atomic
def reassign(*, swim: Swim, entry: Entry, by: User) -> Swim:
    """It is somebody else's swim. Person and others are to be checked anew for them."""
    swim = for_checking(swim, by)
    if entry.clinic_id != swim.entry.clinic_id:
        raise PermissionDenied("an entry of another clinic")
    if entry.pk == swim.entry_id:
        raise CheckRefused(_("This swim is noted for that swimmer already."))
    before = swim.entry_id
    last = entry.swims.aggregate(last=Max("go"))["last"] or 0
    swim.entry, swim.go = entry, last + 1
    look_anew(swim, by)
    swim.save()
    if not who_agrees([swim]) & {entry.swimmer_id}:
        _hide_and_date(swim, by)
    audit_swim("swim.reassign", swim, by, entry_before=str(before), entry=str(entry.pk))
    return swim


@transaction.atomic
def look_at(
    *,
    swim: Swim,
    by: User,
    seen: str = "",
    others: Iterable[Swimmer] | None = None,
    pass_on: bool = False,
) -> NotPassed | None:
    """What a checker finds in one look at a swim, all of it or nothing.

    `seen`: "number" (on the card), "face", or "" (could not tell yet); `others`: None when not
    yet recorded. Comes back with the reasons when it was to be passed on and cannot be. That it
    is somebody else is an act of the board (`clinics.actions.board.reassign`).
    """
    if seen:
        number = swim.entry.number if seen == "number" else None
        confirm_person(swim=swim, by=by, person_number=number)
    if others is not None:
        record_others(swim=swim, swimmers=others, by=by)
    if not pass_on:
        return None
    _passed, refused = pass_swims(swims=[swim], by=by)
    return refused[0] if refused else None


@transaction.atomic
def not_me(*, swim: Swim, by: User) -> Swim:
    """The swimmer says "this is not me": hidden from everyone but the checker at once."""
    mine = Swim.objects.visible_to(by).filter(pk=swim.pk, entry__swimmer__user=by)
    found = Swim.objects.select_for_update(of=("self",)).filter(pk__in=mine.values("pk"))
    row = found.select_related("entry__clinic__club", "entry__swimmer").first()
    if row is None:
        raise PermissionDenied("only the swimmer to whom it was given can say so")
    was = {"passed_at": row.passed_at, "given_at": row.given_at}
    _take_back(row)
    row.person, row.person_by, row.person_at = Swim.Person.WRONG, by, timezone.now()
    row.number_seen = None
    row.save()
    note_withdrawn(Swim._meta.label, row.pk, NOT_ME)
    audit_swim("swim.not_me", row, by, **was)
    _tell_checkers(row)
    return row


def _tell_checkers(swim: Swim) -> None:
    clinic = swim.entry.clinic
    duties = Duty.objects.filter(clinic=clinic, kind=Duty.Kind.CHECKER, user__is_active=True)
    for duty in duties.select_related("user"):
        with translation.override(duty.user.language):
            queue_mail(
                to=duty.user.email,
                subject=_("A swimmer says: this is not me (%(clinic)s)") % {"clinic": clinic.name},
                body=_(
                    "In %(clinic)s a swimmer looked at a swim and says that it shows somebody "
                    "else. It is hidden from everyone but you. Please look who it is:\n\n%(url)s\n"
                )
                % {"clinic": clinic.name, "url": f"{settings.SITE_URL}/swims/{swim.pk}/check/"},
            )
