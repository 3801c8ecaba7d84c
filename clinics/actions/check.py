"""Checking swims before anybody else sees them, passing them on and giving them.

Who is it, and who else can be recognised? Only a person can say, so only a person passes a
swim on. Each verb asks whether `by` may do it, writes one transaction and one audit record.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Max
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.clip_files import cancel_render
from clinics.actions.keeping import begin_deletion_of, date_originals
from clinics.actions.keeping_dates import date_swims
from clinics.models import Clinic, Consent, Duty, Recognised, Swim
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record
from portal.actions.ledger import NOT_ME, note_withdrawn
from portal.actions.mail import queue_mail

if TYPE_CHECKING:
    from clinics.models import Entry, Swimmer
    from portal.models import User


class CheckRefused(Exception):
    """It cannot be done as asked; `reasons` are sentences for the checker."""

    def __init__(self, *reasons: str) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = reasons


@dataclass(frozen=True)
class NotPassed:
    """A swim that stays with the checker, and why."""

    swim: Swim
    reasons: tuple[str, ...]


def _for_checking(swim: Swim, by: User) -> Swim:
    """The row, locked, if `by` checks it. The caller's object may be old."""
    mine = Swim.objects.handled_by(by).filter(pk=swim.pk).values("pk")
    found = Swim.objects.select_for_update(of=("self",)).filter(pk__in=mine)
    row = found.select_related("entry__clinic__club", "entry__swimmer__user").first()
    if row is None:
        raise PermissionDenied("only a checker of the clinic may do this")
    return row


def _audit(action: str, swim: Swim, by: User, **detail: object) -> None:
    record(action=action, by=by, subject=swim, club=swim.entry.clinic.club, detail=detail)


# --- who is it, and who else ------------------------------------------------------------------


@transaction.atomic
def confirm_person(*, swim: Swim, by: User, person_number: int | None = None) -> Swim:
    """The checker has seen who it is: by the number on the card, or (None) by face."""
    swim = _for_checking(swim, by)
    if person_number is not None and person_number != swim.entry.number:
        raise CheckRefused(_wrong_number(swim, person_number))
    if swim.person == Swim.Person.CONFIRMED and swim.number_seen == person_number:
        return swim
    swim.person = Swim.Person.CONFIRMED
    swim.person_by, swim.person_at, swim.number_seen = by, timezone.now(), person_number
    swim.save(update_fields=["person", "person_by", "person_at", "number_seen"])
    _audit("swim.confirm_person", swim, by, how="number" if person_number else "face")
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
    swim = _for_checking(swim, by)
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
    _audit("swim.record_others", swim, by, swimmers=sorted(str(pk) for pk in others))
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
    swim = _for_checking(swim, by)
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
    _audit("swim.reassign", swim, by, entry_before=str(before), entry=str(entry.pk))
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
    _audit("swim.not_me", row, by, **was)
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


# --- passing on -------------------------------------------------------------------------------


def reasons_not_to_pass(swim: Swim, agreeing: set[uuid.UUID]) -> tuple[str, ...]:
    """Why a swim must stay with the checker; empty: it can be passed on.

    `agreeing`: of `who_agrees`. Clips and recognised people are read as prefetched, so that
    a board can ask for each row without asking the database.
    """
    reasons: list[str] = []
    if swim.person == Swim.Person.WRONG:
        reasons.append(_("The swimmer says: this is not me. Look who it is."))
    elif swim.person != Swim.Person.CONFIRMED:
        reasons.append(_("Nobody has confirmed who it is."))
    if swim.others_recorded_at is None:
        reasons.append(_("Nobody has recorded who else can be recognised."))
    if swim.entry.swimmer_id not in agreeing:
        reasons.append(_("The swimmer does not agree to be filmed."))
    against = [row.swimmer for row in swim.recognised.all() if row.swimmer_id not in agreeing]
    if against:
        hidden = _covered_in(swim)
        against = [other for other in against if other.pk not in hidden]
    if against:
        names = ", ".join(sorted(other.name for other in against))
        reasons.append(
            _(
                "%(names)s can be recognised and does not agree to be filmed. The swim is "
                "withheld until that changes, until they are covered in its clips, or until "
                "nobody but the swimmer can be recognised."
            )
            % {"names": names}
        )
    return (*reasons, *_reasons_of_clips(swim))


def _covered_in(swim: Swim) -> set[uuid.UUID]:
    """Who is covered in a clip that was made since: they need not agree to be seen in that one.
    The fence keeps back the swim's other clips by itself."""
    return {
        mask.covers_id
        for clip in swim.clips.all()
        for mask in clip.masks.all()
        if mask.covers_id and clip.rendered_at and mask.made_at < clip.rendered_at
    }


def _reasons_of_clips(swim: Swim) -> list[str]:
    states = [clip.state for clip in swim.clips.all()]
    being_made = sum(state in {"waiting", "rendering"} for state in states)
    if being_made:
        told = ngettext(
            "%(count)d clip is still being made, so nobody has looked at it.",
            "%(count)d clips are still being made, so nobody has looked at them.",
            being_made,
        )
        return [told % {"count": being_made}]
    return [] if "ready" in states else [_("It has no clip to look at.")]


def who_agrees(swims: Iterable[Swim]) -> set[uuid.UUID]:
    """Of the swimmers and all who can be recognised in their swims: who agrees to be filmed."""
    swims = list(swims)
    people = {swim.entry.swimmer_id for swim in swims}
    people |= {row.swimmer_id for swim in swims for row in swim.recognised.all()}
    consents = Consent.objects.filter(purpose=FILM_AND_REVIEW, ended_at__isnull=True)
    return set(consents.filter(swimmer_id__in=people).values_list("swimmer_id", flat=True))


def is_passed_whole(swim: Swim) -> bool:
    """Passed on, and no clip was made anew since."""
    passed_at = swim.passed_at
    return passed_at is not None and not any(
        clip.rendered_at is None or clip.rendered_at > passed_at
        for clip in swim.clips.all()
        if clip.state == "ready"
    )


@transaction.atomic
def pass_swims(*, swims: Iterable[Swim], by: User) -> tuple[list[Swim], list[NotPassed]]:
    """Pass swims on to the coaches; those that cannot be come back with the reasons.

    Where the clinic gives at once, the swimmers get theirs with it. What is passed on whole
    already is left alone.
    """
    passed: list[Swim] = []
    refused: list[NotPassed] = []
    for asked in swims:
        swim = _for_checking(asked, by)
        reasons = reasons_not_to_pass(swim, who_agrees([swim]))
        if reasons:
            refused.append(NotPassed(swim, reasons))
            continue
        if not is_passed_whole(swim):
            swim.passed_at, swim.passed_by = timezone.now(), by
            swim.save(update_fields=["passed_at", "passed_by"])
            _audit("swim.pass", swim, by)
            if swim.entry.clinic.give == Clinic.Give.AT_ONCE:
                _give(swim, by)
        passed.append(swim)
    return passed, refused


# --- giving -------------------------------------------------------------------------------------


@transaction.atomic
def give_swim(*, swim: Swim, by: User) -> Swim:
    """A coach of the clinic gives a swim that was passed on to its swimmer; once."""
    mine = Swim.objects.coached_by(by).filter(pk=swim.pk)
    found = Swim.objects.select_for_update(of=("self",)).filter(pk__in=mine.values("pk"))
    row = found.select_related("entry__clinic__club", "entry__swimmer__user").first()
    if row is None:
        raise PermissionDenied("only a coach to whom the swim was passed on gives it")
    _give(row, by)
    return row


def _give(swim: Swim, by: User) -> None:
    if swim.given_at is not None:
        return
    swim.given_at, swim.given_by = timezone.now(), by
    swim.save(update_fields=["given_at", "given_by"])
    date_swims(Swim.objects.filter(pk=swim.pk))  # what is given is kept longer
    _audit("swim.give", swim, by)
    _tell_swimmer(swim)


def _tell_swimmer(swim: Swim) -> None:
    """No footage and nobody else's name in a mail: only where to look after signing in."""
    swimmer, clinic = swim.entry.swimmer, swim.entry.clinic
    address = swimmer.user.email if swimmer.user else swimmer.email
    if not address:
        return
    with translation.override(swimmer.user.language if swimmer.user else settings.LANGUAGE_CODE):
        queue_mail(
            to=address,
            subject=_("Your swim is ready to look at"),
            body=_(
                "Your swim of %(day)s at %(venue)s is ready. Sign in with this e-mail address "
                "to look at it:\n\n%(url)s\n\nIf it shows somebody else, say so there; it is "
                "then hidden at once.\n"
            )
            % {
                "day": date_format(clinic.date, "DATE_FORMAT"),
                "venue": clinic.venue,
                "url": f"{settings.SITE_URL}/swims/{swim.pk}/",
            },
        )


# --- the clinic ---------------------------------------------------------------------------------


@transaction.atomic
def mark_checked(*, clinic: Clinic, by: User) -> Clinic:
    """The checker is done: crew no longer see the recordings that they brought in."""
    row = Clinic.objects.select_for_update().filter(pk=clinic.pk).first()
    if row is None or not Clinic.objects.checked_by(by).filter(pk=row.pk).exists():
        raise PermissionDenied("only a checker of the clinic may do this")
    if row.checked_at is None:
        row.checked_at = timezone.now()
        row.save(update_fields=["checked_at"])
        record(action="clinic.checked", by=by, subject=row, club=row.club)
    return row


@transaction.atomic
def close_clinic(*, clinic: Clinic, by: User) -> Clinic:
    """The club's admin ends the work on a clinic: checkers see its footage no more, and the
    days until its originals are deleted begin to count; from the first time on, if it was
    opened again since."""
    row = Clinic.objects.select_for_update().filter(pk=clinic.pk).first()
    if row is None or not Clinic.objects.run_by(by).filter(pk=row.pk).exists():
        raise PermissionDenied("only an admin of the club may do this")
    if row.state != Clinic.State.CLOSED:
        row.state, row.closed_at = Clinic.State.CLOSED, row.closed_at or timezone.now()
        row.save(update_fields=["state", "closed_at"])
        date_originals(clinic=row)
        record(action="clinic.close", by=by, subject=row, club=row.club)
    return row
