"""The demo shows a card that is done and a phone that is not."""

from __future__ import annotations

from django.utils import timezone

from clinics.actions import custody
from clinics.management.demo_keeping import hand_out
from clinics.models import SourceFile
from tests.cast import Cast


def test_the_demo_hands_out_once_and_leaves_the_phone_open(cast: Cast) -> None:
    SourceFile.objects.update(verified_at=timezone.now())
    for _twice in range(2):
        hand_out(clinic=cast.clinic, by=cast.admin)
    assert cast.clinic.custody.count() == 2
    [phone] = custody.open_items(cast.harbour)
    assert phone.kind == "phone"
