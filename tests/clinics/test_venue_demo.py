"""The demo's venue sheet and readers, made twice."""

from __future__ import annotations

from clinics.actions.cautions import reading_of
from clinics.management.demo_venue import cautions_in_demo, venue_in_demo
from clinics.models import CautionRead, Clinic, Duty, VenueSheet
from portal.models import AuditEntry
from tests.cast import Cast


def test_demo_venue_and_readers_repeat_without_a_trace(cast: Cast) -> None:
    for kind, user in (("starter", cast.coach), ("logger", cast.crew)):
        Duty.objects.create(clinic=cast.clinic, user=user, kind=kind)
    counts = []
    for _ in range(2):
        clinic = Clinic.objects.get(pk=cast.clinic.pk)
        venue_in_demo(clinic, by=cast.admin)
        cautions_in_demo(clinic)
        rows = VenueSheet.objects.count(), CautionRead.objects.count(), AuditEntry.objects.count()
        counts.append(rows)
    assert counts[0] == counts[1]
    reading = reading_of(cast.clinic)
    assert (len(reading.at_posts), len(reading.missing)) == (2, 1)
