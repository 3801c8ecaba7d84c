"""Choosing, giving and taking back a take-home page; who sees it, and what becomes of it."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from clinics.actions import persons
from clinics.actions.consent import end_consent
from clinics.models import Swim
from feedback.actions import tell
from feedback.actions.erase import erase_said, find_said
from feedback.actions.take_home import NothingToGive, give_page, keep_choice, take_page_back
from feedback.actions.take_home_stills import ask_for_drawn, frames_without_still
from feedback.compute.take_home import Choice
from feedback.models import Drawing, TakeAlong, TakeHome
from portal.actions.job_worker import drain
from portal.csv_out import BYTE_ORDER_MARK
from portal.models import AuditEntry, Hold, OutboxMail, PersonRequest, User
from tests.cast import Cast, make_member, make_user, sign_in
from tests.feedback.said import drawing
from tests.feedback.taken_home import given, proposed, said_and_marked, still_of

BREAKOUT = Choice(measures=("breakout-time-0-0",))


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def status(user: User | None, swim: Swim, name: str = "take-home") -> int:
    client = sign_in(Client(), user)
    return client.get(reverse(f"feedback:{name}", args=[swim.pk])).status_code


def acts() -> list[str]:
    return list(
        AuditEntry.objects.filter(action__startswith="take-home")
        .order_by("seq")
        .values_list("action", flat=True)
    )


# --- giving ---------------------------------------------------------------------------------


def test_without_words_measures_and_stills_there_is_nothing_to_give(cast: Cast) -> None:
    swim = cast.swims["tomas"]
    with pytest.raises(NothingToGive):
        give_page(swim=swim, by=cast.coach, choice=Choice())
    url = reverse("feedback:take-home-give", args=[swim.pk])
    answer = sign_in(Client(), cast.coach).post(url)
    assert answer.status_code == 422
    assert "There is nothing to give yet: send one thing to try or a point" in (
        answer.content.decode()
    )
    assert not TakeHome.objects.filter(given_at__isnull=False).exists() and acts() == []


def test_given_again_unchanged_nothing_is_noted(cast: Cast) -> None:
    swim = said_and_marked(cast)
    first = given(cast)
    again = given(cast)
    assert acts() == ["take-home.choose", "take-home.give"]
    assert again.given_at == first.given_at
    give_page(swim=swim, by=cast.coach, choice=BREAKOUT)
    assert acts()[2:] == ["take-home.choose", "take-home.give"]


def test_what_is_chosen_after_giving_waits_until_it_is_given(cast: Cast) -> None:
    swim = said_and_marked(cast)
    give_page(swim=swim, by=cast.coach, choice=BREAKOUT)
    keep_choice(swim=swim, by=cast.coach, choice=Choice(measures=("split-1-25",)))
    client = sign_in(Client(), cast.tomas)
    body = client.get(reverse("feedback:take-home", args=[swim.pk])).content.decode()
    assert "Breakout" in body and "Split at" not in body


def test_giving_gives_the_pictures_that_were_not_given_yet(cast: Cast) -> None:
    swim = said_and_marked(cast)
    Swim.objects.filter(pk=swim.pk).update(given_at=None, given_by=None)
    assert status(cast.tomas, swim) == 404
    given(cast)
    swim.refresh_from_db()
    assert swim.given_by == cast.coach and status(cast.tomas, swim) == 200


def test_only_its_coaches_give_and_take_back(cast: Cast) -> None:
    swim = said_and_marked(cast)
    for person in (cast.tomas, cast.admin, cast.checker, cast.other_coach):
        with pytest.raises(PermissionDenied):
            give_page(swim=swim, by=person, choice=BREAKOUT)
        with pytest.raises(PermissionDenied):
            take_page_back(swim=swim, by=person)


def test_too_many_or_what_is_not_there_is_refused_in_a_sentence(cast: Cast) -> None:
    swim = said_and_marked(cast)
    client = sign_in(Client(), cast.coach)
    url = reverse("feedback:take-home-choose", args=[swim.pk])
    body = client.get(url).content.decode()
    keys = list(dict.fromkeys(re.findall(r'name="measures" value="([^"]+)"', body)))
    assert len(keys) > 12
    answer = client.post(url, {"measures": keys[:10]})
    assert answer.status_code == 422
    assert "At most 8 measures fit on the page: take 2 off." in answer.content.decode()
    answer = client.post(url, {"measures": ["no-such-measure"]})
    assert answer.status_code == 422 and "is no longer there" in answer.content.decode()
    assert not TakeHome.objects.exists()
    assert client.post(url, {"measures": keys[:2]}).status_code == 302
    assert TakeHome.objects.get().choice == {"measures": keys[:2], "stills": [], "before": ""}


# --- the fence ------------------------------------------------------------------------------


def test_swimmer_and_coaches_see_it_and_nobody_else(cast: Cast) -> None:
    swim = said_and_marked(cast)
    fellow = make_user("noor.castell@harbourlane.example", "Noor Castell")
    make_member(cast.harbour, fellow, "coach")
    still = still_of(cast)
    assert (status(cast.tomas, swim), status(fellow, swim)) == (404, 200)
    given(cast)
    for name in ("take-home", "take-home-pdf"):
        for person in (cast.tomas, cast.coach, fellow):
            assert status(person, swim, name) == 200
        for person in (cast.wren, cast.sol, cast.admin, cast.checker, cast.crew):
            assert status(person, swim, name) == 404
        for person in (cast.other_coach, cast.other_admin, cast.other_swimmer):
            assert status(person, swim, name) == 404
    url = reverse("feedback:take-home-still", args=[swim.pk, still.pk])
    seen = [sign_in(Client(), who).get(url).status_code for who in (cast.tomas, fellow, cast.wren)]
    assert seen == [200, 200, 404]
    assert sign_in(Client(), cast.tomas).get(url)["Cache-Control"] == "private, no-store"


def test_a_still_that_is_not_on_it_is_not_served_to_the_swimmer(cast: Cast) -> None:
    swim = said_and_marked(cast)
    on_it, off_it = still_of(cast), still_of(cast, frame=9)
    give_page(swim=swim, by=cast.coach, choice=Choice(stills=(str(on_it.pk),)))
    client = sign_in(Client(), cast.tomas)
    urls = [reverse("feedback:take-home-still", args=[swim.pk, it.pk]) for it in (on_it, off_it)]
    assert [client.get(url).status_code for url in urls] == [200, 404]


def test_taken_back_held_and_anothers_it_is_gone(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    hold = Hold.objects.create(
        subject_kind="clinics.Swim",
        subject_id=swim.pk,
        reason="asked for by the insurer",
        owner=cast.admin,
        review_on=swim.start_at.date(),
    )
    assert status(cast.tomas, swim) == status(cast.coach, swim) == 404
    hold.delete()
    take_page_back(swim=swim, by=cast.coach)
    take_page_back(swim=swim, by=cast.coach)
    assert status(cast.tomas, swim) == 404 and status(cast.coach, swim) == 200
    assert acts().count("take-home.take-back") == 1
    given(cast)
    assert status(cast.tomas, swim) == 200


def test_a_swim_of_somebody_else_takes_the_page_with_it(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    Swim.objects.filter(pk=swim.pk).update(entry=cast.swims["wren"].entry, go=2)
    swim = Swim.objects.get(pk=swim.pk)
    assert not TakeHome.objects.visible_to(cast.wren).exists()
    assert status(cast.tomas, swim) == status(cast.wren, swim) == 404
    assert not TakeHome.objects.visible_to(cast.coach).exists()
    give_page(swim=swim, by=cast.coach, choice=BREAKOUT)  # a page of its own
    assert TakeHome.objects.get().entry == cast.swims["wren"].entry


def test_who_withdraws_keeps_it_and_the_coach_does_not(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    end_consent(swimmer=swim.entry.swimmer, purpose="film-and-review", by=cast.tomas)
    assert (status(cast.tomas, swim), status(cast.coach, swim)) == (200, 404)


# --- stills ---------------------------------------------------------------------------------


def test_frames_that_were_drawn_on_and_sent_are_asked_for_once(cast: Cast) -> None:
    swim = said_and_marked(cast)
    recording = cast.recordings["start-side"]
    drawing(swim, cast.coach, recording)
    drawing(swim, cast.coach, recording, sent=False)
    drawing(swim, cast.coach, recording, for_coaches=True)
    Drawing.objects.filter(sent_at__isnull=True).update(pts_ticks=3600 * 515)
    assert len(frames_without_still(swim, cast.coach)) == 1
    names = {str(clip.pk): clip.station.name for clip in cast.clips["tomas"]}
    before = proposed(swim, cast.coach)
    (row,) = ask_for_drawn(swim=swim, by=cast.coach, names=names, choice=before)
    assert row.for_swimmer and row.spec["drawings"] and not row.spec["named"]
    assert row.spec["names"] == ["Start side"]
    assert TakeHome.objects.get().choice["stills"] == [str(row.pk)]
    assert ask_for_drawn(swim=swim, by=cast.coach, names=names, choice=before) == []
    assert TakeAlong.objects.count() == 1


# --- told, taken along, erased --------------------------------------------------------------


def test_a_given_page_is_something_new_once_and_says_nothing_of_it(cast: Cast) -> None:
    swim = said_and_marked(cast)
    tell.tell_what_is_new(swim=swim)
    OutboxMail.objects.all().delete()
    given(cast)
    assert tell.tell_what_is_new(swim=swim) == [cast.tomas]
    assert tell.tell_what_is_new(swim=swim) == []
    mail = OutboxMail.objects.get()
    assert f"/swims/{swim.pk}/" in mail.body and "Ines" not in mail.body


def test_its_own_persons_export_names_it_and_nobody_elses(cast: Cast) -> None:
    swim = said_and_marked(cast)
    give_page(swim=swim, by=cast.coach, choice=BREAKOUT)
    give_page(swim=cast.swims["wren"], by=cast.coach, choice=Choice(measures=("fade-0-0",)))
    client = sign_in(Client(), cast.tomas)
    client.post(reverse("clinics:my-data-take", args=[swim.entry.swimmer_id]))
    drain()
    request = PersonRequest.objects.get(kind="take-along")
    answer: Any = client.get(reverse("clinics:my-data-file", args=[request.pk]))
    pack = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    (name,) = [one for one in pack.namelist() if one.endswith("take-home.csv")]
    text = pack.read(name).decode().removeprefix(BYTE_ORDER_MARK)
    (row,) = csv.DictReader(io.StringIO(text))
    assert row["measures"] == "breakout-time-0-0" and row["by"] == "Ines Aldana"
    assert row["one_thing"].startswith("Reach to your own side") and row["given_at"]


def test_erasing_the_swimmer_deletes_it(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    given(cast, cast.swims["wren"], BREAKOUT)
    person = persons.find(swim.entry.swimmer_id)
    assert person is not None
    assert find_said(person).rows["take-home"] == 1
    erase_said(person)
    assert TakeHome.objects.get().swim == cast.swims["wren"]


def test_saving_it_counts_among_those_who_saw_the_swim(cast: Cast) -> None:
    swim = said_and_marked(cast)
    given(cast)
    for _ in range(2):
        assert status(cast.coach, swim, "take-home-pdf") == 200
    entry = AuditEntry.objects.get(action="take-home.download")
    assert json.loads(entry.text)["subject"] == ["clinics.Swim", str(swim.pk)]
    seen = sign_in(Client(), cast.tomas).get("/my-swims/seen/").content.decode()
    assert "saved the take-home page" in seen
