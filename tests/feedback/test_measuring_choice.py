"""The club's choice of the turn zone: its admin chooses, measures follow."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from feedback.actions.measured import zone_of
from feedback.actions.measuring_choice import choose_zone
from feedback.compute.measuring.turns import ZONES, TurnZone
from portal.models import AuditEntry
from tests.cast import Cast, sign_in


@pytest.mark.parametrize("zone", ZONES)
def test_a_choice_is_kept_noted_and_once_the_same(cast: Cast, zone: TurnZone) -> None:
    for _ in range(2):
        choose_zone(club=cast.harbour, zone=zone, by=cast.admin)
    assert zone_of(cast.harbour) == zone
    assert AuditEntry.objects.filter(action="measuring-choice").count() == 1
    assert zone_of(cast.quillmoor) == ZONES[0]


def test_the_form_shows_what_is_chosen_and_takes_only_the_three(cast: Cast) -> None:
    client = sign_in(Client(), cast.admin)
    url = reverse("feedback:measuring", args=[cast.harbour.slug])
    assert 'value="5-10" selected' in client.get(url).content.decode()
    assert client.post(url, {"zone": "7.5-7.5"}).status_code == 302
    assert 'value="7.5-7.5" selected' in client.get(url).content.decode()
    assert client.post(url, {"zone": "1-99"}).status_code == 200
    assert zone_of(cast.harbour) == TurnZone(7.5, 7.5)


def test_the_clubs_page_of_rules_leads_to_it(cast: Cast) -> None:
    page = sign_in(Client(), cast.admin).get(reverse("clinics:keeping", args=[cast.harbour.slug]))
    assert reverse("feedback:measuring", args=[cast.harbour.slug]) in page.content.decode()
