"""Share links: made and ended by the swimmer, counted, with a pass phrase, never for long."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.models import Recognised, Share
from feedback.actions.share import ShareRefused, end_share, make_share
from portal.models import AuditEntry
from tests import showing
from tests.cast import Cast, sign_in

WEEK = dt.timedelta(days=7)


def opened(token: str, client: Client | None = None) -> tuple[Client, Any]:
    client = client or Client()
    return client, client.get(reverse("feedback:shared-link", args=[token]), follow=True)


def films_in(page: Any) -> list[str]:
    return re.findall(r'<video[^>]*src="([^"]+)"', page.content.decode())


def status(client: Client, url: str, **headers: str) -> int:
    return client.get(url, headers=headers).status_code


def test_a_link_shows_the_film_alone_to_whoever_has_it(cast: Cast) -> None:
    _share, token = showing.link(cast, note="for Aunt Jo")
    client, page = opened(token)
    assert page.redirect_chain == [(reverse("feedback:shared"), 303)]
    assert page.status_code == 200 and "noindex" in page["X-Robots-Tag"]
    text = page.content.decode()
    assert token not in text and "Aunt Jo" not in text and "noindex" in text
    films = films_in(page)
    assert len(films) == 3 and "<audio" not in text
    assert status(client, films[0]) == 200
    assert status(client, films[0], range="bytes=2-9") == 206
    assert status(Client(), films[0]) == 404
    video = cast.clips["wren"][0].files.get(kind="video")
    assert status(client, reverse("feedback:shared-file", args=[video.pk])) == 404
    sound = cast.clips["tomas"][0].files.get(kind="sound")
    assert status(client, reverse("feedback:shared-file", args=[sound.pk])) == 404


def test_sound_goes_with_a_link_only_where_the_clinic_says_so(cast: Cast) -> None:
    cast.clinic.sound_for_swimmers = True
    cast.clinic.save()
    _client, page = opened(showing.link(cast)[1])
    assert page.content.decode().count("<audio") == 3


@pytest.mark.parametrize("how", ["ended", "expired", "withdrawn", "not given", "held", "erasing"])
def test_a_link_that_ends_shows_nothing_on_the_next_byte_range(cast: Cast, how: str) -> None:
    share, token = showing.link(cast)
    client, page = opened(token)
    film = films_in(page)[0]
    assert status(client, film, range="bytes=0-3") == 206
    close(cast, share, how)
    assert status(client, film, range="bytes=4-7") == 404
    _again, gone = opened(token, client)
    assert films_in(gone) == [] and "Tomas" not in gone.content.decode()


def close(cast: Cast, share: Share, how: str) -> None:
    from portal.models import Hold, PersonRequest

    now, swim = timezone.now(), cast.swims["tomas"]
    if how == "ended":
        end_share(share=share, by=cast.tomas)
    elif how == "expired":
        Share.objects.update(expires_at=now)
    elif how == "withdrawn":
        showing.withdraw(cast, "tomas", "film-and-review")
    elif how == "not given":
        swim.given_at = None
        swim.save()
    elif how == "held":
        Hold.objects.create(
            subject_kind="clinics.Swim",
            subject_id=swim.pk,
            reason="asked",
            owner=cast.admin,
            review_on=now.date(),
        )
    else:
        PersonRequest.objects.create(
            kind="erase",
            state="waiting",
            club=cast.harbour,
            subject_kind="clinics.Swimmer",
            subject_id=swim.entry.swimmer_id,
            due_at=now,
        )


def test_a_dead_link_looks_like_one_that_never_was(cast: Cast) -> None:
    share, token = showing.link(cast)
    end_share(share=share, by=cast.tomas)
    bodies = {
        re.sub(rb'value="[^"]{40,}"', b"", opened(one)[1].content)  # the form tokens
        for one in (token, "nobody-made-this-one")
    }
    assert len(bodies) == 1


def test_nobody_else_may_be_recognisable_in_what_a_link_shows(cast: Cast) -> None:
    _share, token = showing.link(cast)
    showing.tag(cast, cast.clips["tomas"][1], "wren")  # agrees to everything, and still
    showing.agree(cast, "wren", "show-to-group", "coach-education", "publish")
    _client, page = opened(token)
    assert len(films_in(page)) == 2
    Recognised.objects.create(swim=cast.swims["tomas"], swimmer=cast.swims["wren"].entry.swimmer)
    assert films_in(opened(token)[1]) == []
    with pytest.raises(ShareRefused, match="nobody else"):
        make_share(swim=cast.swims["tomas"], by=cast.tomas, lasts=WEEK)


def test_the_pass_phrase_is_asked_for_pages_and_bytes_and_limited(cast: Cast) -> None:
    _share, token = showing.link(cast, phrase="lane four at dusk")
    client, page = opened(token)
    video = cast.clips["tomas"][0].files.get(kind="video")
    film = reverse("feedback:shared-file", args=[video.pk])
    assert films_in(page) == [] and status(client, film) == 404
    there = reverse("feedback:shared")
    assert client.post(there, {"phrase": "lane five at dusk"}).status_code == 422
    page = client.post(there, {"phrase": "lane four at dusk"}, follow=True)
    assert len(films_in(page)) == 3 and status(client, film) == 200
    other, _page = opened(token)
    answers = [other.post(there, {"phrase": "wrong words"}) for _n in range(4)]
    assert [answer.status_code for answer in answers] == [422, 422, 422, 429]  # two tries before
    assert "Retry-After" in answers[-1]
    assert "lane four" not in str(Share.objects.values_list("phrase_hash", flat=True)[0])


def test_openings_are_counted_once_for_each_browser_and_recorded(cast: Cast) -> None:
    share, token = showing.link(cast)
    first, _page = opened(token)
    first.get(reverse("feedback:shared"))
    opened(token, first)
    opened(token)
    share.refresh_from_db()
    assert share.opened == 2 and share.last_opened_at is not None
    entries = AuditEntry.objects.filter(action="share.open", subject_id=str(share.pk))
    assert entries.count() == 2 and str(share.swim_id) in entries[0].text
    assert token not in "".join(AuditEntry.objects.values_list("text", flat=True))


def test_the_swimmer_makes_and_ends_links_on_pages(cast: Cast) -> None:
    client = sign_in(Client(), cast.tomas)
    page = client.post(
        reverse("feedback:swim-show", args=[cast.swims["tomas"].pk]), {"days": 30, "note": "Jo"}
    )
    link = re.search(r'value="[^"]*(/shared/[^"]+)"', page.content.decode())
    assert link is not None and films_in(Client().get(link[1], follow=True))
    share = Share.objects.get()
    assert link[1].split("/")[2] not in share.token_hash
    assert share.expires_at - timezone.now() > dt.timedelta(days=29)
    listed = client.get(reverse("feedback:shown")).content.decode()
    assert "Jo" in listed and link[1] not in listed
    client.post(reverse("feedback:share-end", args=[share.pk]))
    assert not films_in(Client().get(link[1], follow=True))


def test_only_the_swimmer_makes_a_link(cast: Cast) -> None:
    for user in (cast.coach, cast.wren, cast.checker, cast.admin):
        with pytest.raises(PermissionDenied):
            make_share(swim=cast.swims["tomas"], by=user, lasts=WEEK)
    share, _token = showing.link(cast)
    with pytest.raises(PermissionDenied):
        end_share(share=share, by=cast.coach)
    with pytest.raises(ShareRefused):
        make_share(swim=cast.swims["tomas"], by=cast.tomas, lasts=dt.timedelta(days=400))


def test_a_link_ends_with_the_swim_becoming_somebody_elses(cast: Cast) -> None:
    """What was said for showing on counts from when the swim was given."""
    _share, token = showing.link(cast)
    swim = cast.swims["tomas"]
    swim.given_at = swim.passed_at = timezone.now()
    swim.save()
    assert films_in(opened(token)[1]) == []


def test_whoever_has_a_link_puts_a_clip_away_in_which_a_minor_is(cast: Cast) -> None:
    client, page = opened(showing.link(cast)[1])
    clip = cast.clips["tomas"][0]
    client.post(reverse("feedback:shared-minor", args=[clip.pk]))
    assert len(films_in(client.get(reverse("feedback:shared")))) == 2
    assert not type(clip).objects.filter(pk=clip.pk).visible_to(cast.tomas).exists()


def test_the_list_of_what_is_shown_asks_the_same_for_one_and_for_three(
    cast: Cast, django_assert_max_num_queries: Any
) -> None:
    client = sign_in(Client(), cast.tomas)
    counts = []
    for _n in range(2):
        showing.link(cast)
        with django_assert_max_num_queries(40) as asked:
            client.get(reverse("feedback:shown"))
        counts.append(len(asked))
        showing.link(cast)
    assert counts[0] == counts[1]
