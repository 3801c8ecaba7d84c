"""The demo's copies outside: a card that came in and was wiped, and a phone nobody asked yet."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from clinics.actions.custody import hand_over, note_safely_in, note_wiped
from clinics.models import Clinic, Custody, SourceFile
from portal.models import User

BEFORE = dt.timedelta(hours=2)


def hand_out(*, clinic: Clinic, by: User) -> None:
    """Handed out before the first recording came in. Once: what is noted already stays."""
    if clinic.custody.exists():
        return
    first, second = clinic.stations.order_by("order")[:2]
    card = hand_over(
        clinic=clinic,
        kind=Custody.Kind.CARD,
        label="A 1",
        holder="Petra Voss",
        station=first,
        by=by,
    )
    phone = hand_over(
        clinic=clinic,
        kind=Custody.Kind.PHONE,
        label="Jun’s phone",
        holder="Jun Sorley",
        station=second,
        by=by,
    )
    Custody.objects.filter(pk__in=[card.pk, phone.pk]).update(handed_at=_begin(clinic) - BEFORE)
    note_safely_in(row=card, by=by)
    note_wiped(row=card, wiped_by="Petra Voss", by=by)


def _begin(clinic: Clinic) -> dt.datetime:
    came = SourceFile.objects.filter(recording__station__clinic=clinic, verified_at__isnull=False)
    first = came.order_by("verified_at").values_list("verified_at", flat=True).first()
    return first or timezone.now()
