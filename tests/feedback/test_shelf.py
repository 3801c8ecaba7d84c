"""The teaching shelf: clips by fault and remedy, for coaches of any club."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from clinics.models import Clip, ShelfClip
from feedback.actions.shelf import ShelfRefused, end, put_up
from portal.models import AuditEntry, OutboxMail
from tests import showing
from tests.cast import Cast, sign_in

FAULT, REMEDY = "Breath into the stroke", "One goggle out of the water"


def put(cast: Cast, number: int = 0) -> ShelfClip:
    showing.agree(cast, "tomas", "coach-education") if number == 0 else None
    clip = cast.clips["tomas"][number]
    return put_up(clip=clip, fault=FAULT, remedy=REMEDY, by=cast.coach)


def test_a_coach_puts_a_clip_up_and_coaches_elsewhere_learn_from_it(cast: Cast) -> None:
    client = sign_in(Client(), cast.coach)
    showing.agree(cast, "tomas", "coach-education")
    url = reverse("feedback:shelf-put", args=[cast.clips["tomas"][0].pk])
    answer = client.post(url, {"fault": FAULT, "remedy": REMEDY}, follow=True)
    assert answer.status_code == 200
    elsewhere = sign_in(Client(), cast.other_coach)
    listed = elsewhere.get(reverse("feedback:shelf")).content.decode()
    assert FAULT in listed and REMEDY in listed and "Tomas" not in listed
    page = elsewhere.get(reverse("feedback:shelf-clip", args=[ShelfClip.objects.get().pk]))
    text = page.content.decode()
    assert "<video" in text and "Tomas" not in text and "<audio" not in text
    assert Clip.objects.visible_to(cast.other_coach).filter(swim=cast.swims["tomas"]).count() == 1
    assert elsewhere.get(reverse("feedback:shelf") + "?q=goggle").content.count(b"<article") == 1
    assert b"<article" not in elsewhere.get(reverse("feedback:shelf") + "?q=kick").content
    assert sign_in(Client(), cast.wren).get(reverse("feedback:shelf")).status_code == 403


def test_the_swimmer_is_told_sees_who_looked_and_ends_it_in_one_tap(cast: Cast) -> None:
    row = put(cast)
    assert [mail.to for mail in OutboxMail.objects.all()] == [cast.tomas.email]
    client, elsewhere = sign_in(Client(), cast.tomas), sign_in(Client(), cast.other_coach)
    shown = client.get(reverse("feedback:shown")).content.decode()
    assert FAULT in shown and "Edda Varga" not in shown
    for _twice in range(2):
        elsewhere.get(reverse("feedback:shelf-clip", args=[row.pk]))
    assert AuditEntry.objects.filter(action="shelf.view").count() == 1
    shown = client.get(reverse("feedback:shown")).content.decode()
    assert "Edda Varga, Quillmoor Tritons" in shown
    video = row.clip.files.get(kind="video")
    film = reverse("clinics:clip-file", args=[video.pk])
    assert elsewhere.get(film, headers={"range": "bytes=0-3"}).status_code == 206
    client.post(reverse("feedback:shelf-end", args=[row.pk]))
    assert elsewhere.get(film, headers={"range": "bytes=4-7"}).status_code == 404
    assert elsewhere.get(reverse("feedback:shelf-clip", args=[row.pk])).status_code == 404


def test_it_is_refused_where_somebody_in_it_has_not_agreed(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    with pytest.raises(ShelfRefused, match="has not agreed"):
        put_up(clip=clip, fault=FAULT, remedy=REMEDY, by=cast.coach)
    showing.agree(cast, "tomas", "coach-education")
    showing.tag(cast, clip, "wren")
    with pytest.raises(ShelfRefused, match="has not agreed"):
        put_up(clip=clip, fault=FAULT, remedy=REMEDY, by=cast.coach)
    showing.agree(cast, "wren", "coach-education")
    put_up(clip=clip, fault=FAULT, remedy=REMEDY, by=cast.coach)
    with pytest.raises(ShelfRefused, match="already"):
        put_up(clip=clip, fault=FAULT, remedy=REMEDY, by=cast.coach)
    showing.withdraw(cast, "wren", "coach-education")
    assert not Clip.objects.on_shelf_for(cast.other_coach).exists()
    assert Clip.objects.visible_to(cast.coach).filter(pk=clip.pk).exists()


def test_only_a_coach_of_the_clinic_puts_up_and_a_stranger_ends_nothing(cast: Cast) -> None:
    row = put(cast)
    for user in (cast.other_coach, cast.tomas, cast.checker, cast.admin):
        with pytest.raises(PermissionDenied):
            put_up(clip=cast.clips["tomas"][1], fault=FAULT, remedy=REMEDY, by=user)
    for user in (cast.other_coach, cast.wren, cast.admin):
        with pytest.raises(PermissionDenied):
            end(put=row, by=user)
    end(put=row, by=cast.coach)
    row.refresh_from_db()
    assert row.ended_by == cast.coach


def test_the_shelf_asks_the_same_for_one_clip_and_for_three(
    cast: Cast, django_assert_max_num_queries: Any
) -> None:
    client, counts = sign_in(Client(), cast.other_coach), []
    for number in range(3):
        put(cast, number)
        with django_assert_max_num_queries(20) as asked:
            client.get(reverse("feedback:shelf"))
        counts.append(len(asked))
    assert len(set(counts)) == 1
