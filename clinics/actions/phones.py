"""Phones that log at the pool, taken down when they are heard."""

from __future__ import annotations

from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.compute.phone_sync import PhoneSaid
from clinics.models import Clinic, Phone
from portal.models import User

PHONES_MOST = 200  # at one clinic; each browser that opens the start log's page is one


def heard(*, clinic: Clinic, said: PhoneSaid, by: User | None) -> Phone:
    """The phone's row, made when it is heard for the first time. A name once said stays until
    another one is said. Asks to be called under the clinic's lock."""
    now = timezone.now()
    phone = Phone.objects.filter(clinic=clinic, key=said.key).first()
    if phone is None:
        if clinic.phones.count() >= PHONES_MOST:
            told = _(
                "%(most)s phones have logged at this clinic already; no more are taken.",
                most=PHONES_MOST,
            )
            raise BadInput([(_("phone"), told)])
        phone = Phone(clinic=clinic, key=said.key, first_heard_at=now)
    phone.name, phone.user = said.name or phone.name, by
    phone.unsent, phone.heard_at = said.unsent, now
    phone.save()
    return phone
