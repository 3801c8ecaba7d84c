"""The demo's sign-ups, made twice."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from clinics.actions.sign_up_notes import entry_notes_for
from clinics.management.demo_sign_up import sign_up_in_demo
from clinics.models import EntryNote, SignUp, SignUpSheet
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import with_texts
from tests.clinics.sign_up_tools import State, ahead


@pytest.mark.parametrize("in_time", [True, False])
def test_demo_has_everybody_and_some_who_wait_and_repeats_without_a_trace(
    cast: Cast, in_time: bool
) -> None:
    with_texts(cast)
    clinic = ahead(cast.clinic) if in_time else cast.clinic
    for _ in range(2):
        sign_up_in_demo(clinic)
    assert SignUpSheet.objects.count() == 1 and SignUp.objects.count() == 7
    assert SignUp.objects.filter(state=State.TAKEN_IN, entry__isnull=False).count() == 3
    assert EntryNote.objects.count() == 5
    assert entry_notes_for(cast.coach, cast.swims["tomas"].entry) is not None
    page = sign_in(Client(), cast.admin).get(reverse("clinics:sign-ups", args=[clinic.pk]))
    text = page.content.decode()
    assert "4 of 4 places are taken" in text and "2 wait" in text
    assert "on the waiting list, number 2" in text


def test_demo_needs_no_texts(cast: Cast) -> None:
    sign_up_in_demo(ahead(cast.clinic))
    assert not SignUpSheet.objects.get().is_open
