"""The demo's texts and answers, made twice."""

from __future__ import annotations

from clinics.management.demo_consent import answer_in_demo
from clinics.models import Consent, ConsentText
from tests.cast import Cast
from tests.clinics.consent_tools import COACHES, COUNT, FILM, GROUP, in_force


def test_demo_answers_differ_and_repeat_without_a_trace(cast: Cast) -> None:
    counts = []
    for _ in range(2):
        answer_in_demo(cast.clinic, admin=cast.admin)
        counts.append((Consent.objects.count(), ConsentText.objects.count()))
    assert counts[0] == counts[1]
    assert in_force(cast.swims["tomas"].entry.swimmer) == {FILM, GROUP, COACHES, COUNT}
    assert in_force(cast.swims["wren"].entry.swimmer) == {FILM, GROUP}
    said_no = Consent.objects.filter(purpose=COUNT, choice=Consent.Choice.REFUSES)
    assert [row.swimmer for row in said_no] == [cast.swims["wren"].entry.swimmer]
