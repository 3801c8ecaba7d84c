"""Waiting for you: what waits for what, who took it, sharing out, and the walk along it."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.models import Clip, Swim, Swimmer
from feedback.actions import taken
from feedback.compute.share_out import how_many_each
from feedback.models import Feedback, FeedbackSent, TakenSwim
from feedback.models.queue import queue_of
from portal.models import AuditEntry, Membership, User
from tests.cast import Cast, make_clip, make_member, make_user, sign_in
from tests.feedback.said import another_go, comment, drawing

QUEUE_QUERIES = 13
QUERIES_OF_THE_LINE = 5  # the swim twice, its place, who takes it and who took it
WAITING = "feedback:waiting"


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def edda(cast: Cast) -> User:
    """A second coach of the club."""
    user = make_user("ilse.brandt@harbourlane.example", "Ilse Brandt")
    make_member(cast.harbour, user, "coach")
    return user


def body_of(user: User, url: str, **data: Any) -> str:
    answer = sign_in(Client(), user).get(url, data)
    assert answer.status_code == 200
    return answer.content.decode()


def missing(cast: Cast, user: User | None = None, **data: str) -> dict[str, str]:
    """Swimmer to what is missing first, as the queue says it."""
    body = body_of(user or cast.coach, reverse(WAITING), **data)
    found = re.findall(r"<h2><a[^>]*>(.*?)</a>.*?state [\w-]*\">(.*?)<", body, re.S)
    return dict(found)


def swim_url(swim: Swim) -> str:
    return reverse("feedback:swim", args=[swim.pk])


def filmed_go(cast: Cast, number: int, **given: Any) -> Swim:
    swim = another_go(cast.swims["tomas"], number, **given)
    make_clip(swim, cast.recordings["start-side"], 1, from_s=-1.0)
    return swim


# --- what is missing --------------------------------------------------------------------------


def test_the_queue_says_in_words_what_is_missing_most_urgent_first(cast: Cast) -> None:
    tomas, wren = cast.swims["tomas"], cast.swims["wren"]
    assert missing(cast) == {"Tomas Birk": "nothing said yet", "Wren Okada": "nothing said yet"}
    draft = comment(wren, cast.coach, "Breathe later.", sent=False)
    assert missing(cast)["Wren Okada"] == "drafts not sent"
    Swim.objects.filter(pk=wren.pk).update(given_at=None, given_by=None)
    draft.sent_at = timezone.now()
    draft.save()
    said = comment(tomas, cast.coach, "Push out level.")
    assert list(missing(cast).items()) == [
        ("Wren Okada", "said, not given yet"),
        ("Tomas Birk", "no one thing to try"),
    ]
    FeedbackSent.objects.create(swim=tomas, one_thing="Push out level.", sent_by=cast.coach)
    assert missing(cast) == {"Wren Okada": "said, not given yet"}
    comment(tomas, cast.tomas, "Like this?", reply_to=said)
    assert list(missing(cast).items()) == [
        ("Tomas Birk", "the swimmer asks back"),
        ("Wren Okada", "said, not given yet"),
    ]
    comment(tomas, cast.coach, "Among us: he means the elbow.", for_coaches=True)
    assert missing(cast)["Tomas Birk"] == "the swimmer asks back"
    comment(tomas, cast.coach, "Yes.", reply_to=said)
    assert missing(cast) == {"Wren Okada": "said, not given yet"}
    assert missing(cast, show="answered") == {"Tomas Birk": "answered and given"}
    assert set(missing(cast, show="all")) == {"Tomas Birk", "Wren Okada"}


def test_what_is_written_together_counts_as_a_draft_until_sent_and_again_when_changed(
    cast: Cast, edda: User
) -> None:
    tomas = cast.swims["tomas"]
    words = Feedback.objects.create(swim=tomas, one_thing="Look down.", updated_by=edda)
    assert missing(cast)["Tomas Birk"] == "drafts not sent"
    FeedbackSent.objects.create(swim=tomas, one_thing="Look down.")
    assert "Tomas Birk" not in missing(cast)
    words.one_thing, words.updated_at = "Look down and back.", timezone.now()
    words.save()
    assert missing(cast)["Tomas Birk"] == "drafts not sent"
    Feedback.objects.filter(pk=words.pk).update(one_thing="")
    assert "Tomas Birk" not in missing(cast)


def test_drafts_and_drawings_of_another_coach_are_theirs_alone(cast: Cast, edda: User) -> None:
    tomas = cast.swims["tomas"]
    drawing(tomas, edda, cast.recordings["underwater"], sent=False)
    assert missing(cast)["Tomas Birk"] == "nothing said yet"
    assert missing(cast, edda)["Tomas Birk"] == "drafts not sent"


def test_a_swim_whose_pictures_are_not_there_says_so_and_comes_last(cast: Cast) -> None:
    Clip.objects.filter(swim=cast.swims["tomas"]).update(state="rendering")
    assert list(missing(cast).items())[-1] == ("Tomas Birk", "pictures still being made")
    assert list(missing(cast, show="no-pictures")) == ["Tomas Birk"]
    # some are there: it can be worked on, and the line says what is still to come
    cast.clips["wren"][0].state = "waiting"
    cast.clips["wren"][0].save()
    assert missing(cast)["Wren Okada"] == "nothing said yet"
    assert set(missing(cast, show="no-pictures")) == {"Tomas Birk", "Wren Okada"}


def test_a_swimmer_without_sign_in_waits_and_is_answered_like_any(cast: Cast) -> None:
    Swimmer.objects.filter(user=cast.tomas).update(user=None)
    assert missing(cast)["Tomas Birk"] == "nothing said yet"
    FeedbackSent.objects.create(swim=cast.swims["tomas"], one_thing="Push out level.")
    assert "Tomas Birk" not in missing(cast)


def test_each_choice_says_how_many_it_shows(cast: Cast) -> None:
    comment(cast.swims["tomas"], cast.coach, "Good.")
    body = body_of(cast.coach, reverse(WAITING))
    told = dict(re.findall(r'<option value="([\w-]*)"[^>]*>[^<]*\((\d+)\)</option>', body))
    assert told[""] == "2"
    for show, count in told.items():
        assert len(missing(cast, show=show)) == int(count), show


def test_the_queue_filters_by_clinic_and_survives_nonsense(cast: Cast) -> None:
    assert len(missing(cast, clinic=str(cast.clinic.pk))) == 2
    nonsense = {"clinic": str(cast.other_clinic.pk), "show": "x", "whose": "y", "was": "z"}
    assert len(missing(cast, **nonsense)) == 2
    assert not missing(cast, show="asks-back")
    assert "No swim is like this." in body_of(cast.coach, reverse(WAITING), show="asks-back")


def test_a_coach_of_two_clubs_has_both_in_one_queue(cast: Cast) -> None:
    make_member(cast.quillmoor, cast.coach, "coach")
    assert set(missing(cast)) == {"Tomas Birk", "Wren Okada", "Kit Maddern"}
    assert list(missing(cast, clinic=str(cast.other_clinic.pk))) == ["Kit Maddern"]


@pytest.mark.parametrize("who", ["tomas", "checker", "admin", "crew", "other_coach"])
def test_whoever_does_not_coach_here_finds_none_of_our_swims(cast: Cast, who: str) -> None:
    body = body_of(getattr(cast, who), reverse(WAITING), show="all")
    for key in ("tomas", "wren", "sol"):
        assert swim_url(cast.swims[key]) not in body


# --- taking -----------------------------------------------------------------------------------


def test_a_taken_swim_is_seen_by_the_others_and_found_by_whose(cast: Cast, edda: User) -> None:
    tomas = cast.swims["tomas"]
    client = sign_in(Client(), cast.coach)
    answer = client.post(reverse("feedback:take", args=[tomas.pk]) + "?show=all", {"list": ""})
    assert answer.url == f"{reverse(WAITING)}?show=all#swim-{tomas.pk}"
    assert "yours" in body_of(cast.coach, reverse(WAITING))
    assert "taken by Ines Aldana" in body_of(edda, reverse(WAITING))
    assert "taken by Ines Aldana" in body_of(edda, swim_url(tomas))
    assert list(missing(cast, whose="mine")) == ["Tomas Birk"]
    assert list(missing(cast, whose="free")) == ["Wren Okada"]
    assert list(missing(cast, edda, whose="mine")) == []
    assert AuditEntry.objects.filter(action="swim.take").count() == 1
    taken.let_go(swim=tomas, by=edda)  # not hers: it stays
    assert list(missing(cast, whose="mine")) == ["Tomas Birk"]
    client.post(reverse("feedback:let-go", args=[tomas.pk]))
    assert not TakenSwim.objects.exists()
    assert AuditEntry.objects.filter(action="swim.let_go").count() == 1


def test_who_comes_second_is_told_and_can_hand_it_over_to_themselves(
    cast: Cast, edda: User
) -> None:
    tomas = cast.swims["tomas"]
    taken.take(swim=tomas, by=cast.coach)
    taken.take(swim=tomas, by=cast.coach)
    client = sign_in(Client(), edda)
    answer = client.post(reverse("feedback:take", args=[tomas.pk]), follow=True)
    assert "Ines Aldana took this swim meanwhile." in answer.content.decode()
    assert taken.holder_of(tomas) == cast.coach
    client.post(reverse("feedback:hand-on", args=[tomas.pk]), {"to": edda.pk})
    assert taken.holder_of(tomas) == edda
    assert AuditEntry.objects.filter(action="swim.take").count() == 1
    assert AuditEntry.objects.filter(action="swim.hand_on").count() == 1


@pytest.mark.parametrize("who", ["tomas", "other_coach", "admin", "checker"])
def test_a_swim_is_handed_to_the_clinics_coaches_only(cast: Cast, who: str) -> None:
    tomas, to = cast.swims["tomas"], getattr(cast, who)
    with pytest.raises(PermissionDenied):
        taken.hand_on(swim=tomas, to=to, by=cast.coach)
    url = reverse("feedback:hand-on", args=[tomas.pk])
    answer = sign_in(Client(), cast.coach).post(url, {"to": to.pk}, follow=True)
    assert "Choose one of the clinic&#x27;s coaches." in answer.content.decode()
    for act in (taken.take, taken.let_go):
        with pytest.raises(PermissionDenied):
            act(swim=tomas, by=to)
    assert not TakenSwim.objects.exists()


def test_whoever_is_taken_off_the_club_holds_nothing_any_more(cast: Cast, edda: User) -> None:
    tomas = cast.swims["tomas"]
    taken.take(swim=tomas, by=edda)
    assert list(missing(cast, whose="free")) == ["Wren Okada"]
    yesterday = timezone.now().date() - dt.timedelta(days=1)
    Membership.objects.filter(user=edda).update(until_date=yesterday)
    assert missing(cast, edda, show="all") == {}
    assert sign_in(Client(), edda).get(swim_url(tomas)).status_code == 404
    assert set(missing(cast, whose="free")) == {"Tomas Birk", "Wren Okada"}
    assert "taken by" not in body_of(cast.coach, reverse(WAITING))
    taken.take(swim=tomas, by=cast.coach)
    assert taken.holder_of(tomas) == cast.coach


def test_in_the_room_taking_swaps_the_line_of_the_queue_alone(cast: Cast) -> None:
    url = reverse("feedback:take", args=[cast.swims["tomas"].pk])
    client = sign_in(Client(), cast.coach)
    body = client.post(url, headers={"HX-Request": "true"}).content.decode()
    assert body.lstrip().startswith('<div class="queue-nav" id="queue-nav"')
    assert "yours" in body and "Let go" in body


# --- sharing out --------------------------------------------------------------------------------


@settings(deadline=None)
@given(st.integers(0, 200), st.lists(st.integers(0, 60), min_size=1, max_size=7))
def test_shares_add_up_and_leave_nobody_with_more_than_one_over_who_got_some(
    count: int, held: list[int]
) -> None:
    shares = how_many_each(count, held)
    assert sum(shares) == count and min(shares) >= 0
    ends = [has + share for has, share in zip(held, shares, strict=True)]
    for end, share in zip(ends, shares, strict=True):
        assert not share or end <= min(ends) + 1


def test_nobody_to_share_among_gets_nothing() -> None:
    assert how_many_each(5, []) == []


def ten_more(cast: Cast) -> None:
    for number in range(2, 12):
        another_go(cast.swims["tomas"], number)


def share_form(body: str) -> dict[str, Any]:
    form = body[body.index('method="post" class="row"') :]
    return {
        "shown": re.findall(r'name="shown" value="(\w+)"', form)[0],
        "among": re.findall(r'name="among" value="([\w-]+)"', form),
    }


def test_sharing_out_is_shown_first_then_done_in_one_act(cast: Cast, edda: User) -> None:
    ten_more(cast)
    taken.take(swim=cast.swims["wren"], by=edda)
    url = reverse("feedback:share-out", args=[cast.clinic.pk])
    assert url in body_of(cast.coach, reverse(WAITING))
    body = body_of(cast.coach, url)
    assert "11 swims wait that nobody took." in body
    assert re.findall(r"<b>(.*?)</b>\s*<span>(.*?)</span>", body) == [
        ("Ilse Brandt", "5 swims"),
        ("Ines Aldana", "6 swims"),
    ]
    assert TakenSwim.objects.count() == 1  # looking changes nothing
    answer = sign_in(Client(), cast.coach).post(url, share_form(body))
    assert answer.status_code == 302
    mine = TakenSwim.objects.filter(coach=cast.coach).values_list("swim__start_at", flat=True)
    hers = TakenSwim.objects.filter(coach=edda, by=cast.coach)
    assert (len(mine), hers.count()) == (6, 5)
    assert max(taken.swim.start_at for taken in hers) < min(mine)  # one run of the order each
    assert AuditEntry.objects.filter(action="swims.share_out").count() == 1
    assert "11 swims" not in body_of(cast.coach, reverse(WAITING))


def test_what_changed_since_it_was_shown_is_shown_again(cast: Cast, edda: User) -> None:
    url = reverse("feedback:share-out", args=[cast.clinic.pk])
    shown = share_form(body_of(cast.coach, url))
    taken.take(swim=cast.swims["wren"], by=edda)
    answer = sign_in(Client(), cast.coach).post(url, shown)
    assert answer.status_code == 422
    assert "Somebody took or answered swims meanwhile." in answer.content.decode()
    assert TakenSwim.objects.count() == 1


def test_among_some_coaches_only_and_never_among_others(cast: Cast, edda: User) -> None:
    url = reverse("feedback:share-out", args=[cast.clinic.pk])
    body = body_of(cast.coach, url, among=[str(edda.pk)])
    assert re.findall(r"<b>(.*?)</b>\s*<span>(.*?)</span>", body) == [("Ilse Brandt", "2 swims")]
    with pytest.raises(PermissionDenied):
        among = [cast.coach, cast.other_coach]
        shares = taken.portions(clinic=cast.clinic, by=cast.coach, among=among)
        shown = taken.stamp_of(shares)
        taken.share_out(clinic=cast.clinic, by=cast.coach, among=among, shown=shown)
    for who in (cast.admin, cast.checker, cast.tomas, cast.other_coach):
        assert sign_in(Client(), who).post(url, share_form(body)).status_code == 404
    assert not TakenSwim.objects.exists()


def test_the_only_coach_is_not_asked_to_share(cast: Cast) -> None:
    url = reverse("feedback:share-out", args=[cast.clinic.pk])
    assert url not in body_of(cast.coach, reverse(WAITING))


# --- the walk ---------------------------------------------------------------------------------


def links(body: str) -> dict[str, str]:
    found = re.findall(r'<a rel="(prev|next)"[^>]* href="([^"]*)"', body)
    return {rel: href.replace("&amp;", "&") for rel, href in found}


def test_next_goes_on_though_the_swim_waits_for_nothing_any_more(cast: Cast) -> None:
    """The place in the walk is kept by what the swim waited for when it was opened."""
    first, second = cast.swims["tomas"], cast.swims["wren"]
    third = filmed_go(cast, 2, start_at=second.start_at + dt.timedelta(minutes=1))
    body = body_of(cast.coach, reverse(WAITING))
    at = re.findall(r'<h2><a href="([^"]*)"', body)[1].replace("&amp;", "&")
    assert at == f"{swim_url(second)}?was=nothing-said"
    room = body_of(cast.coach, at)
    assert "2 of 3" in room
    assert links(room) == {
        "prev": f"{swim_url(first)}?was=nothing-said",
        "next": f"{swim_url(third)}?was=nothing-said",
    }
    comment(second, cast.coach, "Not sent.", sent=False)  # further down in the list now
    room = body_of(cast.coach, at)
    assert "2 of 3" in room and links(room)["next"].startswith(swim_url(third))
    FeedbackSent.objects.create(swim=second, one_thing="Look down.")  # out of the list
    second.comments.all().delete()
    room = body_of(cast.coach, at)
    assert "2 wait<" in room and links(room)["next"].startswith(swim_url(third))
    assert "next" not in links(body_of(cast.coach, links(room)["next"]))


def test_the_walk_goes_along_what_was_chosen(cast: Cast) -> None:
    first, second = cast.swims["tomas"], cast.swims["wren"]
    mine = filmed_go(cast, 2, start_at=second.start_at + dt.timedelta(minutes=1))
    for swim in (first, mine):
        taken.take(swim=swim, by=cast.coach)
    room = body_of(cast.coach, swim_url(first), whose="mine", was="nothing-said")
    assert "1 of 2" in room
    assert links(room) == {"next": f"{swim_url(mine)}?whose=mine&was=nothing-said"}
    taken.let_go(swim=first, by=cast.coach)
    room = body_of(cast.coach, swim_url(first), whose="mine", was="nothing-said")
    assert links(room) == {"next": f"{swim_url(mine)}?whose=mine&was=nothing-said"}


def test_the_swimmer_sees_nothing_of_the_queue(cast: Cast) -> None:
    taken.take(swim=cast.swims["tomas"], by=cast.coach)
    body = body_of(cast.tomas, swim_url(cast.swims["tomas"]), show="all", was="nothing-said")
    for hidden in ("queue-nav", "taken by", "Wren", "Hand on"):
        assert hidden not in body


# --- cost -------------------------------------------------------------------------------------


def queries(user: User, url: str, **data: Any) -> int:
    client = sign_in(Client(), user)
    client.get(url, data)  # what is asked once per sign-in
    with CaptureQueriesContext(connection) as asked:
        assert client.get(url, data).status_code == 200
    return len(asked)


@pytest.mark.parametrize("count", [3, 300])
def test_three_and_three_hundred_swims_cost_the_same_queries(
    cast: Cast, edda: User, count: int
) -> None:
    for number in range(2, count):
        swim = another_go(cast.swims["tomas"], number)
        comment(swim, cast.coach, "Good.", sent=bool(number % 3))
        TakenSwim.objects.create(swim=swim, coach=edda if number % 2 else cast.coach)
        if number < 8:
            make_clip(swim, cast.recordings["start-side"], 1, from_s=-1.0)
    body = body_of(cast.coach, reverse(WAITING), show="all")
    assert body.count('<li class="card"') == min(count, 50) and f"{count} swims." in body
    assert queries(cast.coach, reverse(WAITING), show="all") == QUEUE_QUERIES


def test_a_long_queue_goes_over_pages_in_its_order(cast: Cast) -> None:
    for number in range(2, 60):
        another_go(cast.swims["tomas"], number)
    pages = [body_of(cast.coach, reverse(WAITING), show="all", page=str(n)) for n in (1, 2)]
    names = [re.findall(r'id="swim-([0-9a-f-]+)"', page) for page in pages]
    assert names[0] + names[1] == [str(queued.pk) for queued in queue_of(cast.coach)]
    assert [len(on_page) for on_page in names] == [50, 10] and "show=all&amp;page=2" in pages[0]


def test_the_queues_line_in_the_room_costs_a_few_queries(cast: Cast, edda: User) -> None:
    for number in range(2, 30):
        another_go(cast.swims["tomas"], number)
    url = reverse("feedback:let-go", args=[cast.swims["tomas"].pk])
    client = sign_in(Client(), cast.coach)
    htmx = {"HX-Request": "true"}
    client.post(url, headers=htmx)
    with CaptureQueriesContext(connection) as asked:
        assert client.post(url + "?was=nothing-said", headers=htmx).status_code == 200
    selects = [q["sql"] for q in asked if q["sql"].startswith("SELECT")]
    about_swims = [q for q in selects if "clinics_swim" in q or "takenswim" in q]
    assert len(about_swims) == QUERIES_OF_THE_LINE
