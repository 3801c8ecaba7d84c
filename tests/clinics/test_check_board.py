"""The check board and the page of one swim, through the site."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.actions import check as acts
from clinics.actions.pass_on import pass_swims
from clinics.compute import overview
from clinics.models import Clip, ClockFit, Consent, Swim
from clinics.views.check_cells import within_words
from tests.cast import FIRST_START, Cast, make_clip, make_entry, make_swim, sign_in


@pytest.fixture
def checker(cast: Cast) -> Client:
    """Signed in as the checker, and nothing is checked yet."""
    Swim.objects.filter(entry__clinic=cast.clinic).update(
        person="unconfirmed", others_recorded_at=None, passed_at=None, given_at=None
    )
    return sign_in(Client(), cast.checker)


def board(cast: Cast) -> str:
    return reverse("clinics:check", args=[cast.clinic.pk])


def one(cast: Cast, name: str) -> str:
    return reverse("clinics:check-swim", args=[cast.swims[name].pk])


def swim(cast: Cast, name: str) -> Swim:
    return Swim.objects.get(pk=cast.swims[name].pk)


def text(answer: Any) -> str:
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


TOMAS = "Tomas Birk"


def in_order(page: str) -> list[str]:
    """Groups and names as they stand below each other."""
    found = re.findall(r'scope="rowgroup"[^>]*> ([^<]+?) <|class="row-name">([^<]+)<', page)
    return [group or name for group, name in found]


# --- the board --------------------


def test_the_board_says_time_and_person_apart(cast: Cast, checker: Client) -> None:
    Clip.objects.filter(pk=cast.clips["tomas"][0].pk).update(time_state="look")
    acts.confirm_person(swim=cast.swims["wren"], by=cast.checker, person_number=2)
    page = text(checker.get(board(cast)))
    assert "2 swims, 6 clips. Time: 5 sure, 1 to look at, 0 not found." in page
    assert "Person: 1 of 2 confirmed." in page
    assert "number 2 seen, confirmed" in page and "who is this?" in page
    assert "1 swim is not shown" in page and "Sol Hagen" not in page
    assert "within a frame" in page
    assert "start 10:12:30" in page  # Dublin's winter time is UTC


def test_clock_times_are_the_clinics(cast: Cast, checker: Client) -> None:
    cast.clinic.time_zone = "Europe/Paris"
    cast.clinic.save()
    assert "start 11:12:30" in text(checker.get(board(cast)))


def test_a_pass_that_nobody_filmed_is_said(cast: Cast, checker: Client) -> None:
    cast.clips["tomas"][2].files.all().delete()
    cast.clips["tomas"][2].delete()
    page = text(checker.get(board(cast)))
    assert page.count("no picture at this instant") == 1
    assert "1 not found" in page


def test_a_clip_that_failed_says_why(cast: Cast, checker: Client) -> None:
    Clip.objects.filter(pk=cast.clips["tomas"][0].pk).update(state="failed", reason="The disk")
    assert "failed: The disk" in text(checker.get(board(cast)))


def test_what_needs_a_look_comes_first(cast: Cast, checker: Client) -> None:
    for name in ("tomas", "wren"):
        acts.confirm_person(swim=swim(cast, name), by=cast.checker)
        acts.record_others(swim=swim(cast, name), swimmers=[], by=cast.checker)
    pass_swims(swims=[swim(cast, "tomas")], by=cast.checker)
    Swim.objects.filter(pk=swim(cast, "tomas").pk).update(given_at=FIRST_START)
    page = text(checker.get(board(cast)))
    assert in_order(page) == ["Ready to pass on", "Wren Okada", "Passed to the coaches", TOMAS]
    acts.not_me(swim=swim(cast, "tomas"), by=cast.tomas)
    page = text(checker.get(board(cast)))
    assert in_order(page) == ["Look at these first", TOMAS, "Ready to pass on", "Wren Okada"]
    assert "the swimmer says: this is not me" in page


def test_passing_all_that_are_ready(cast: Cast, checker: Client) -> None:
    assert "Pass " not in text(checker.get(board(cast))).split("<table")[0]
    acts.look_at(swim=swim(cast, "tomas"), by=cast.checker, seen="face", others=[])
    acts.look_at(swim=swim(cast, "wren"), by=cast.checker, seen="face")
    page = text(checker.get(board(cast)))
    assert "Pass 1 swim to the coaches" in page
    page = text(checker.post(reverse("clinics:check-pass", args=[cast.clinic.pk]), follow=True))
    assert "1 swim passed to the coaches." in page
    assert swim(cast, "tomas").passed_at and not swim(cast, "wren").passed_at


def test_a_swim_withheld_says_for_whom(cast: Cast, checker: Client) -> None:
    sol = cast.swims["sol"].entry.swimmer
    acts.look_at(swim=swim(cast, "tomas"), by=cast.checker, seen="face", others=[sol])
    assert "Sol Hagen can be recognised and does not agree" in text(checker.get(board(cast)))


def test_made_again_is_said_and_can_be_passed_again(cast: Cast, checker: Client) -> None:
    acts.look_at(swim=swim(cast, "tomas"), by=cast.checker, seen="face", others=[], pass_on=True)
    later = swim(cast, "tomas").passed_at + dt.timedelta(seconds=1)
    Clip.objects.filter(pk=cast.clips["tomas"][0].pk).update(rendered_at=later)
    page = text(checker.get(board(cast)))
    assert "clips were made again since it was passed on" in page
    assert "Pass 1 swim to the coaches" in page


def test_an_empty_board_says_what_comes_next(cast: Cast, checker: Client) -> None:
    Consent.objects.all().update(ended_at=FIRST_START)
    assert "No swims to check yet" in text(checker.get(board(cast)))


def test_marking_checked(cast: Cast, checker: Client) -> None:
    page = text(checker.post(reverse("clinics:check-done", args=[cast.clinic.pk]), follow=True))
    assert "checked," in page and "Mark as checked" not in page


def test_an_admin_closes_after_reading_what_it_does(cast: Cast, checker: Client) -> None:
    url = reverse("clinics:close", args=[cast.clinic.pk])
    assert checker.get(url).status_code == checker.post(url).status_code == 404
    admin = sign_in(Client(), cast.admin)
    assert "3 swims were not passed on" in text(admin.get(url))
    admin.post(url)
    cast.clinic.refresh_from_db()
    assert cast.clinic.state == "closed"
    assert "No swims to check yet" in text(checker.get(board(cast)))


# --- one swim --------------------


def test_nothing_is_ticked_beforehand(cast: Cast, checker: Client) -> None:
    page = text(checker.get(one(cast, "tomas")))
    assert " checked" not in page
    assert "Swim 1 of 2." in page and "The card says 1" in page
    assert page.count("<video") == 3 and "autoplay" not in page
    assert "Wren Okada" in page and "Kit Maddern" not in page


def test_passing_one_goes_on_to_the_next(cast: Cast, checker: Client) -> None:
    found = {"person": "number", "nobody": "1", "then": "pass"}
    answer = checker.post(one(cast, "tomas"), found)
    assert answer.status_code == 302 and answer["Location"] == one(cast, "wren")
    row = swim(cast, "tomas")
    assert row.passed_at and row.number_seen == 1 and row.recognised.count() == 0
    answer = checker.post(one(cast, "wren"), found)
    assert answer["Location"] == board(cast)


def test_passing_without_saying_who_else_is_refused_on_the_page(
    cast: Cast, checker: Client
) -> None:
    page = text(checker.post(one(cast, "tomas"), {"person": "face", "then": "pass"}, follow=True))
    assert "Nobody has recorded who else can be recognised." in page
    row = swim(cast, "tomas")
    assert row.person == "confirmed" and row.others_recorded_at is None and not row.passed_at


def test_others_are_recorded_and_shown_again(cast: Cast, checker: Client) -> None:
    wren = cast.swims["wren"].entry.swimmer
    checker.post(one(cast, "tomas"), {"others": [str(wren.pk)], "then": "save"})
    row = swim(cast, "tomas")
    assert [r.swimmer for r in row.recognised.all()] == [wren]
    assert row.person == "unconfirmed"
    page = text(checker.get(one(cast, "tomas")))
    assert f'value="{wren.pk}" checked' in page


def test_nobody_and_somebody_exclude_each_other(cast: Cast, checker: Client) -> None:
    wren = cast.swims["wren"].entry.swimmer
    page = text(checker.post(one(cast, "tomas"), {"nobody": "1", "others": [str(wren.pk)]}))
    assert "Either “nobody else”, or the people who can be seen." in page
    assert swim(cast, "tomas").others_recorded_at is None


def test_somebody_else_is_chosen_and_looked_at_as_theirs(cast: Cast, checker: Client) -> None:
    assert "Choose who it is." in text(checker.post(one(cast, "tomas"), {"person": "other"}))
    wren = cast.swims["wren"].entry
    page = text(
        checker.post(one(cast, "tomas"), {"person": "other", "entry": str(wren.pk)}, follow=True)
    )
    assert "The swim is Wren Okada" in page and "The card says 2" in page
    assert swim(cast, "tomas").entry == wren


def test_people_of_another_clinic_cannot_be_chosen(cast: Cast, checker: Client) -> None:
    other = cast.swims["other"].entry
    for told in ({"person": "other", "entry": str(other.pk)}, {"others": [str(other.swimmer.pk)]}):
        assert "errorlist" in text(checker.post(one(cast, "tomas"), told))
    assert swim(cast, "tomas").entry.number == 1
    assert swim(cast, "tomas").others_recorded_at is None


@pytest.mark.parametrize(
    "who", ["coach", "crew", "admin", "tomas", "wren", "other_admin", "other_coach"]
)
def test_board_and_swim_are_for_the_checker(cast: Cast, checker: Client, who: str) -> None:
    client = sign_in(Client(), getattr(cast, who))
    for url in (board(cast), one(cast, "tomas")):
        assert client.get(url).status_code == 404
    assert client.post(one(cast, "tomas"), {"person": "face"}).status_code == 404
    assert swim(cast, "tomas").person == "unconfirmed"


# --- words and drawing --------------------


def test_words_for_how_sure_a_time_is() -> None:
    assert within_words(12.0, 25.0) == "within a frame"
    assert within_words(40.1, 25.0) == "within 2 frames"
    assert within_words(0.0, 240.0) == "within a frame"
    assert within_words(800.0, 25.0) == "within 0.8 s"
    assert within_words(None, 25.0) == within_words(12.0, None) == ""


def test_the_strip_puts_clips_where_they_are_in_clinic_time() -> None:
    lanes = [overview.Lane("Start side", [(0.0, 100.0)], [(50.0, 60.0)])]
    drawn = overview.draw(lanes)
    assert drawn is not None
    middle = overview.LEFT + (overview.WIDTH - overview.LEFT - overview.RIGHT) / 2
    assert drawn.lanes[0].windows.startswith(f"M{middle:.1f} ")
    assert [step.at_s for step in drawn.steps] == [10.0 * i for i in range(11)]
    assert overview.draw([overview.Lane("Start side", [], [])]) is None


def test_the_strip_steps_stay_few_for_any_span() -> None:
    for hours in (0.001, 0.02, 0.4, 1, 3, 9, 40):
        drawn = overview.draw([overview.Lane("Deck", [(-7.0, hours * 3600)], [])])
        assert drawn is not None and len(drawn.steps) <= overview.MOST_STEPS + 1


def test_a_recording_whose_clock_is_not_found_is_left_out_of_the_strip(
    cast: Cast, checker: Client
) -> None:
    ClockFit.objects.filter(recording__station=cast.underwater).update(
        zero_at=None, u_ms=None, state="not-found"
    )
    page = text(checker.get(board(cast)))
    assert "Clock not found." in page
    drawn = re.findall(r'<path class="water" d="([^"]*)"', page)
    assert [bool(path) for path in drawn] == [True, False]  # start side, underwater


# --- as quick with 300 swims as with 3 --------------------


def queries(client: Client, url: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as caught:
        assert client.get(url).status_code == 200
    return len(caught)


def grow(cast: Cast, to: int) -> None:
    """More swims, with a clip and a still each; their files share one on disk."""
    like = cast.clips["tomas"][0].files.get(kind="poster")
    for number in range(Swim.objects.filter(entry__clinic=cast.clinic).count() + 1, to + 1):
        entry = make_entry(cast.clinic, f"Swimmer {number}", 100 + number, None, "")
        start_at = FIRST_START + dt.timedelta(seconds=40 * number)
        begin = (number % 50) * 100
        clip = Clip.objects.create(
            swim=make_swim(entry, start_at),
            station=cast.start_side,
            pass_no=1,
            recording=cast.recordings["start-side"],
            in_ticks=begin * 3600,
            out_ticks=(begin + 100) * 3600,
            first_frame=begin,
            frame_count=100,
            seen_from_s=0,
            seen_to_s=4,
            time_state="sure",
            state="ready",
            rendered_at=FIRST_START,
        )
        clip.files.create(kind="poster", height=360, width=640, stored=like.stored)


def test_the_board_asks_the_database_as_often_for_300_swims_as_for_3(
    cast: Cast, checker: Client
) -> None:
    url, page = board(cast), one(cast, "tomas")
    queries(checker, url)
    with_3 = queries(checker, url), queries(checker, page)
    grow(cast, 300)
    assert (queries(checker, url), queries(checker, page)) == with_3
    assert Swim.objects.filter(entry__clinic=cast.clinic).count() == 300
    assert with_3[0] <= 25 and with_3[1] <= 32


def test_made_clips_of_the_cast_are_seen(cast: Cast, checker: Client) -> None:
    """A clip at a station's second pass makes a column of its own."""
    make_clip(cast.swims["tomas"], cast.recordings["start-side"], 2, from_s=30.0)
    page = text(checker.get(board(cast)))
    assert page.count('<th scope="col">') == 1 + 4 + 1
