"""Rows of places beside those in the header: one's own, and a club's."""

from __future__ import annotations

from django.test import Client
from django.urls import reverse

from tests.cast import Cast, sign_in


def test_a_swimmer_finds_what_is_theirs_on_account_and_my_swims(cast: Cast, client: Client) -> None:
    sign_in(client, cast.tomas)
    place = f'href="{reverse("clinics:my-data")}"'
    assert place in client.get(reverse("portal:account")).text
    assert place in client.get(reverse("feedback:my-swims")).text


def test_who_is_in_no_footage_is_offered_nothing(cast: Cast, client: Client) -> None:
    sign_in(client, cast.admin)
    assert reverse("clinics:my-data") not in client.get(reverse("portal:account")).text


def test_an_admin_finds_the_clubs_places_on_people(cast: Cast, client: Client) -> None:
    sign_in(client, cast.admin)
    page = client.get(reverse("portal:people", args=[cast.harbour.slug])).text
    assert f'href="{reverse("portal:requests", args=[cast.harbour.slug])}"' in page
    assert cast.quillmoor.slug not in page


def test_a_place_says_where_one_is(cast: Cast, client: Client) -> None:
    sign_in(client, cast.tomas)
    page = client.get(reverse("clinics:my-data")).text
    assert f'href="{reverse("clinics:my-data")}" aria-current="page"' in page


def test_a_swim_stands_under_what_led_to_it(cast: Cast, client: Client) -> None:
    swim = reverse("feedback:swim", args=[cast.swims["tomas"].pk])
    for user, place in ((cast.tomas, "feedback:my-swims"), (cast.coach, "feedback:waiting")):
        page = sign_in(client, user).get(swim).text
        assert f'href="{reverse(place)}" aria-current="page"' in page
