"""A clinic's sheet for signing up: opened, closed, with so many places; and how many have one."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.actions.consent_texts import texts_of
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.pool_hour import clinic_hour
from clinics.actions.sign_up_places import fill_places
from clinics.actions.sign_up_state import State, is_over
from clinics.compute.sign_up_groups import how_many_fit
from clinics.models import Clinic, PoolHour, SignUp, SignUpSheet
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record

if TYPE_CHECKING:
    from collections.abc import Mapping

    from portal.models import User

FIELDS = ("is_open", "places", "closes_at", "words")


def new_token() -> str:
    return secrets.token_urlsafe(16)


def find_sheet(token: str) -> SignUpSheet | None:
    return SignUpSheet.objects.select_related("clinic__club").filter(token=token).first()


def sheet_of(clinic: Clinic) -> SignUpSheet:
    """The clinic's; one that is closed and not saved where there is none."""
    return SignUpSheet.objects.filter(clinic=clinic).first() or SignUpSheet(clinic=clinic)


@transaction.atomic
def set_sheet(*, clinic: Clinic, values: Mapping[str, object], by: User) -> SignUpSheet:
    """Open it, close it, change its places; what is not in `values` stays. Whoever moves up by
    that is told by mail. BadInput names what cannot be so."""
    clinic = Clinic.objects.select_for_update().get(pk=clinic.pk)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; nobody signs up any more."))])
    sheet = SignUpSheet.objects.select_for_update().filter(clinic=clinic).first()
    sheet = sheet or SignUpSheet(clinic=clinic, token=new_token())
    for name in FIELDS:
        if name in values:
            setattr(sheet, name, values[name])
    _check(sheet)
    sheet.save()
    told = {"open": sheet.is_open, "places": sheet.places}
    record(action="sign-up.sheet", by=by, subject=clinic, club=clinic.club, detail=told)
    fill_places(sheet)
    return sheet


def _check(sheet: SignUpSheet) -> None:
    errors: list[tuple[str, str]] = []
    if not 1 <= sheet.places <= 500:
        errors.append((_("Number of places"), _("must be from 1 to 500.")))
    if sheet.is_open and not texts_of(sheet.clinic.club).version(FILM_AND_REVIEW):
        errors.append(
            ("", _("Publish the consent texts first: whoever signs up answers them as well."))
        )
    if sheet.is_open and is_over(sheet.clinic):
        errors.append(("", _("The day of this clinic is over; nobody signs up any more.")))
    if errors:
        raise BadInput(errors)


@transaction.atomic
def end_link(*, sheet: SignUpSheet, by: User) -> SignUpSheet:
    """The link that was handed out ends; a new one takes its place."""
    sheet = SignUpSheet.objects.select_for_update().get(pk=sheet.pk)
    sheet.token = new_token()
    sheet.save(update_fields=["token"])
    clinic = sheet.clinic
    record(action="sign-up.new-link", by=by, subject=clinic, club=clinic.club)
    return sheet


@dataclass(frozen=True)
class Room:
    """What the pool hour has room for: `swimmers` in all, of whom `otherwise` are in the running
    order and did not sign up here; so many `places` are left for the sheet."""

    minutes: int
    swimmers: int
    otherwise: int

    @property
    def places(self) -> int:
        return max(0, self.swimmers - self.otherwise)


def room_in_pool_hour(clinic: Clinic) -> Room | None:
    """From the paces of who is entered and who signed up. None: nobody has said yet how long
    the pool is the clinic's. Three queries."""
    hour = PoolHour.objects.filter(clinic=clinic).first()
    if hour is None:
        return None
    hour.clinic = clinic
    entered = clinic.entries.values_list("pace_s_per_100m", "sign_up__pk")
    paces = [pace for pace, _sign_up in entered]
    signed = SignUp.objects.filter(sheet__clinic=clinic, state=State.SIGNED_UP)
    paces += list(signed.values_list("pace_s_per_100m", flat=True))
    fit = how_many_fit(clinic_hour(clinic, hour), paces)
    return Room(hour.minutes, fit, sum(sign_up is None for _pace, sign_up in entered))
