"""How long sign-ups are kept. Injuries go when the clinic is closed; all else of a sign-up, and
injuries at the latest, so many days after the clinic's day (the club's days for what was never
given); one that nobody confirmed after three days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Count, Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions.keeping_rules import rules_of_clubs
from clinics.actions.sign_up_mail import PERSONAL_LINK_WORKS_DAYS
from clinics.actions.sign_up_state import State
from clinics.compute.keeping import Rules, begin_of, sign_ups_until
from clinics.models import Clinic, EntryNote, SignUp
from clinics.privacy import held_by_part
from portal.actions.audit import record
from portal.actions.ledger import note_deleted
from portal.registry import Due, Gone, PurgeStep

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import Club

CLINIC = Clinic._meta.label
UNCONFIRMED_KEPT = dt.timedelta(days=PERSONAL_LINK_WORKS_DAYS)


def kept_until(clinic: Clinic, rules: Rules) -> dt.datetime:
    return begin_of(sign_ups_until(rules, clinic_day=clinic.date))


def injuries_until(clinic: Clinic, rules: Rules) -> dt.datetime:
    until = kept_until(clinic, rules)
    return min(clinic.closed_at, until) if clinic.closed_at is not None else until


# --- what is there, held or not ------------------------------------------------------------------


def _held_sign_up() -> Q:
    return held_by_part(Clinic="sheet__clinic_id", Swimmer="swimmer_id", Entry="entry_id")


def _held_note() -> Q:
    path = "sign_up__"
    return held_by_part(
        Clinic=f"{path}sheet__clinic_id", Swimmer=f"{path}swimmer_id", Entry=f"{path}entry_id"
    )


def _injuries() -> QuerySet[EntryNote]:
    return EntryNote.objects.filter(kind=EntryNote.Kind.INJURIES)


def _clinics_with(rows: QuerySet[Any], path: str) -> list[Clinic]:
    there = Exists(rows.filter(**{f"{path}__clinic": OuterRef("pk")}))
    return list(Clinic.objects.filter(there).select_related("club").order_by("date", "pk"))


def _rules(clinics: Iterable[Clinic]) -> Any:
    return rules_of_clubs(clinic.club_id for clinic in clinics)


def _noted(rows: QuerySet[Any]) -> dict[str, int]:
    """Delete these rows, and note each."""
    for pk in rows.values_list("pk", flat=True):
        note_deleted(rows.model._meta.label, pk)
    for note in EntryNote.objects.filter(sign_up__in=rows) if rows.model is SignUp else ():
        note_deleted(EntryNote._meta.label, note.pk)
    return rows.delete()[1]


# --- injuries ------------------------------------------------------------------------------------


def _injuries_due(at_most: int) -> list[Due]:
    clinics = _clinics_with(_injuries().exclude(_held_note()), "sign_up__sheet")
    rules, found = _rules(clinics), []
    for clinic in clinics:
        until = injuries_until(clinic, rules(clinic.club_id))
        if until <= timezone.now():
            found.append(Due(CLINIC, clinic.pk, until))
    return sorted(found, key=lambda due: due.since)[:at_most]


@transaction.atomic
def _delete_injuries(due: Due) -> Gone | None:
    clinic = _locked(due)
    if clinic is None or injuries_until(clinic, _rules([clinic])(clinic.club_id)) > timezone.now():
        return None
    rows = _injuries().exclude(_held_note()).filter(sign_up__sheet__clinic=clinic)
    rows = EntryNote.objects.filter(pk__in=list(rows.values_list("pk", flat=True)))
    return _gone("purge.injuries", clinic, _noted(rows))


def _locked(due: Due) -> Clinic | None:
    rows = Clinic.objects.select_for_update(of=("self",)).select_related("club")
    return rows.filter(pk=due.id).first()


def _gone(action: str, clinic: Clinic, rows: dict[str, int]) -> Gone | None:
    if not rows:
        return None
    record(action=action, by=None, subject=clinic, club=clinic.club, detail={"rows": rows})
    return Gone(rows)


INJURIES_STEP = PurgeStep(
    name="injuries",
    label=_("Injuries told to coaches: when the clinic is closed"),
    order=560,
    due=_injuries_due,
    held=lambda: _injuries().filter(_held_note()).count(),
    delete=_delete_injuries,
)

# --- sign-ups ------------------------------------------------------------------------------------


def _old_unconfirmed() -> Q:
    return Q(state=State.TO_CONFIRM, made_at__lte=timezone.now() - UNCONFIRMED_KEPT)


def _going(clinic: Clinic, rules: Rules) -> QuerySet[SignUp]:
    """Which sign-ups of the clinic are due, and not held."""
    rows = SignUp.objects.exclude(_held_sign_up()).filter(sheet__clinic=clinic)
    is_old = kept_until(clinic, rules) <= timezone.now()
    return rows if is_old else rows.filter(_old_unconfirmed())


def _sign_ups_due(at_most: int) -> list[Due]:
    """Clinics whose day is past, and those with something that nobody confirmed."""
    free = SignUp.objects.exclude(_held_sign_up())
    past = Q(sheet__clinic__date__lt=timezone.localdate())
    clinics = _clinics_with(free.filter(past | _old_unconfirmed()), "sheet")
    rules, found = _rules(clinics), []
    for clinic in clinics:
        until = kept_until(clinic, rules(clinic.club_id))
        oldest = _going(clinic, rules(clinic.club_id)).order_by("made_at").first()
        if oldest is not None:
            since = until if until <= timezone.now() else oldest.made_at + UNCONFIRMED_KEPT
            found.append(Due(CLINIC, clinic.pk, since))
    return sorted(found, key=lambda due: due.since)[:at_most]


@transaction.atomic
def _delete_sign_ups(due: Due) -> Gone | None:
    clinic = _locked(due)
    if clinic is None:
        return None
    rows = _going(clinic, _rules([clinic])(clinic.club_id))
    rows = SignUp.objects.filter(pk__in=list(rows.values_list("pk", flat=True)))
    return _gone("purge.sign-ups", clinic, _noted(rows))


SIGN_UPS_STEP = PurgeStep(
    name="sign-ups",
    label=_("Sign-ups of clinics that are over, and those that nobody confirmed"),
    order=570,
    due=_sign_ups_due,
    held=lambda: SignUp.objects.filter(_held_sign_up()).count(),
    delete=_delete_sign_ups,
)

# --- for the page of what goes when --------------------------------------------------------------


def days_of(club: Club) -> list[tuple[dt.date, Clinic, int]]:
    """Of each clinic with sign-ups: the day on which they go, and how many. Two queries."""
    clinics = Clinic.objects.filter(club=club).annotate(n=Count("sign_up_sheet__sign_ups"))
    rules = rules_of_clubs([club.pk])(club.pk)
    return [
        (sign_ups_until(rules, clinic_day=clinic.date), clinic, clinic.n)
        for clinic in clinics
        if clinic.n
    ]
