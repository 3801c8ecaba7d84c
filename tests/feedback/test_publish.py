"""A clip for anyone: never without the swimmer's and an admin's act for that very clip."""

from __future__ import annotations

import re

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions import publish
from clinics.models import Clip, Publication
from tests import showing
from tests.cast import Cast, sign_in


def page(clip: Clip) -> int:
    return Client().get(reverse("feedback:published", args=[clip.pk])).status_code


def test_both_say_so_on_their_pages_and_anyone_sees_it(cast: Cast) -> None:
    showing.agree(cast, "tomas", "publish")
    clip, other = cast.clips["tomas"][:2]
    swimmer, admin = sign_in(Client(), cast.tomas), sign_in(Client(), cast.admin)
    assert swimmer.post(reverse("feedback:publish", args=[clip.pk])).status_code == 302
    assert page(clip) == 404
    place = reverse("clinics:showing", args=[cast.harbour.slug])
    row = Publication.objects.get()
    agree = reverse("clinics:publication-agree", args=[row.pk])
    assert agree in admin.get(place).content.decode()
    admin.post(agree)
    assert page(clip) == 200 and page(other) == 404
    shown = Client().get(reverse("feedback:published", args=[clip.pk])).content.decode()
    films = re.findall(r'<video[^>]*src="([^"]+)"', shown)
    assert len(films) == 1 and "<audio" not in shown
    assert Client().get(films[0], headers={"range": "bytes=0-3"}).status_code == 206
    swimmer.post(reverse("feedback:publication-end", args=[row.pk]))
    assert page(clip) == 404
    assert Client().get(films[0], headers={"range": "bytes=4-7"}).status_code == 404


def test_publishing_asks_who_it_is_once_more_and_ending_never_does(cast: Cast) -> None:
    """It is a consent."""
    clip = cast.clips["tomas"][0]
    client = sign_in(Client(), cast.tomas, fresh=False)
    answer = client.post(reverse("feedback:publish", args=[clip.pk]))
    assert answer.status_code == 303 and "fresh" in answer["Location"]
    assert not Publication.objects.exists()
    row = showing.publication(cast, clip)
    client.post(reverse("feedback:publication-end", args=[row.pk]))
    row.refresh_from_db()
    assert row.ended_at is not None


@pytest.mark.parametrize("missing", ["publish", "film-and-review", "other", "swimmer", "admin"])
def test_each_of_them_is_needed(cast: Cast, missing: str) -> None:
    showing.agree(cast, "tomas", "publish")
    clip = cast.clips["tomas"][0]
    row = showing.publication(cast, clip)
    assert page(clip) == 200
    if missing == "other":
        showing.tag(cast, clip, "wren")
    elif missing in {"swimmer", "admin"}:
        Publication.objects.filter(pk=row.pk).update(**{f"{missing}_said_at": None})
    else:
        showing.withdraw(cast, "tomas", missing)
    assert page(clip) == 404


def test_a_clip_that_was_made_again_is_asked_about_again(cast: Cast) -> None:
    """They said yes to a picture, and this is another."""
    showing.agree(cast, "tomas", "publish")
    clip = cast.clips["tomas"][0]
    row = showing.publication(cast, clip)
    showing.pass_again(cast.swims["tomas"], timezone.now())
    assert page(clip) == 404
    again = publish.say_as_swimmer(clip=clip, by=cast.tomas)
    assert again.pk == row.pk and again.admin_said_at is None
    publish.say_as_admin(publication=again, by=cast.admin)
    assert page(clip) == 200


def test_nobody_else_says_so(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    for user in (cast.coach, cast.wren, cast.admin, cast.checker):
        with pytest.raises(PermissionDenied):
            publish.say_as_swimmer(clip=clip, by=user)
    row = publish.say_as_swimmer(clip=clip, by=cast.tomas)
    for user in (cast.coach, cast.tomas, cast.other_admin):
        with pytest.raises(PermissionDenied):
            publish.say_as_admin(publication=row, by=user)
    for user in (cast.coach, cast.wren, cast.other_admin):
        with pytest.raises(PermissionDenied):
            publish.end(publication=row, by=user)
