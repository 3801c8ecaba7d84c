"""Swims that the swimmers of a clinic show each other: the film, and nothing that was said."""

from __future__ import annotations

from typing import Any

from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.models import Consent, Recognised, Swim
from feedback.models import Comment, Drawing, Mark
from tests import showing
from tests.cast import Cast, sign_in

SAID = "Press the chest down before the wall."


def test_the_group_sees_the_film_and_nothing_that_was_said(cast: Cast) -> None:
    showing.agree(cast, "tomas", "show-to-group")
    swim = cast.swims["tomas"]
    Comment.objects.create(swim=swim, author=cast.coach, text=SAID, sent_at=timezone.now())
    client = sign_in(Client(), cast.wren)
    listed = client.get(reverse("feedback:group")).content.decode()
    url = reverse("feedback:swim", args=[swim.pk])
    assert "Tomas Birk" in listed and url in listed and "Sol Hagen" not in listed
    page = client.get(url)
    text = page.content.decode()
    assert page.status_code == 200 and text.count("<video") == 3 and SAID not in text
    assert "data-room" not in text and "Ines" not in text
    for rows in (Comment, Drawing, Mark):
        assert not rows.objects.visible_to(cast.wren).filter(swim=swim).exists()  # type: ignore[attr-defined]
    said = reverse("feedback:say", args=[swim.pk])
    assert client.post(said, {"text": "hello"}).status_code == 404
    assert SAID in sign_in(Client(), cast.tomas).get(url).content.decode()


def test_what_is_shown_to_the_group_is_no_swim_of_ones_own(cast: Cast) -> None:
    """My swims, the queue, comparisons and mail keep to what is one's own or coached."""
    showing.agree(cast, "tomas", "show-to-group")
    client = sign_in(Client(), cast.wren)
    assert "Tomas" not in client.get(reverse("feedback:my-swims")).content.decode()
    own = reverse("feedback:compare", args=[cast.swims["wren"].pk])
    assert "Tomas" not in client.get(own).content.decode()
    both = [cast.swims["wren"].pk, cast.swims["tomas"].pk]
    assert client.get(reverse("feedback:compare-with", args=both)).status_code == 404
    reviewed = Swim.objects.reviewed_by(cast.wren)
    assert {swim.entry.swimmer.user for swim in reviewed} == {cast.wren}


def shown(cast: Cast) -> bool:
    here = Swim.objects.filter(pk=cast.swims["tomas"].pk)
    return here.visible_to(cast.wren).exists()


def test_the_group_view_needs_the_swimmer_the_others_and_that_it_is_given(cast: Cast) -> None:
    assert not shown(cast)
    showing.agree(cast, "tomas", "show-to-group")
    assert shown(cast)
    assert not Swim.objects.visible_to(cast.other_swimmer).filter(entry__clinic=cast.clinic)
    Recognised.objects.create(swim=cast.swims["tomas"], swimmer=cast.swims["wren"].entry.swimmer)
    assert not shown(cast)
    showing.agree(cast, "wren", "show-to-group")
    assert shown(cast)
    Consent.objects.filter(swimmer__user=cast.tomas, purpose="film-and-review").update(
        ended_at=timezone.now()
    )
    assert not shown(cast)


def test_a_swim_that_is_not_given_is_not_shown_to_the_group(cast: Cast) -> None:
    showing.agree(cast, "tomas", "show-to-group")
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(given_at=None)
    assert not shown(cast)


def test_the_page_asks_the_same_for_one_swim_and_for_three(
    cast: Cast, django_assert_max_num_queries: Any
) -> None:
    from tests.cast import FIRST_START, make_clip, make_swim

    client, counts = sign_in(Client(), cast.wren), []
    showing.agree(cast, "tomas", "show-to-group")
    like = cast.swims["tomas"]
    for go in (2, 3):
        with django_assert_max_num_queries(20) as asked:
            client.get(reverse("feedback:group"))
        counts.append(len(asked))
        fields = {"person": "confirmed", "others_recorded_at": FIRST_START, "go": go}
        passed = {"passed_at": FIRST_START, "given_at": FIRST_START}
        more = make_swim(like.entry, like.start_at, **fields, **passed)
        make_clip(more, cast.recordings["underwater"], 1)
    with django_assert_max_num_queries(20) as asked:
        page = client.get(reverse("feedback:group"))
    assert page.content.count(b"<article") == 3
    assert {*counts, len(asked)} == {counts[0]}
