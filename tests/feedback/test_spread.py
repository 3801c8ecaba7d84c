"""A swim among the clinic's others without names: who counts, and what nobody can read from it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinics.actions.consent import end_consent
from clinics.models import Clinic, Consent, Entry, MinorReport, Swim, Swimmer
from feedback.actions.measured import measured_many
from feedback.actions.spread import Among, among_others
from feedback.models import Mark
from portal.models import Hold, PersonRequest, User
from tests.cast import FIRST_START, Cast, make_clip, sign_in
from tests.feedback.measuring.swims import TRUTH
from tests.feedback.said import another_go
from tests.feedback.spread_group import (
    APART_S,
    COUNT,
    group,
    let_count,
    marked,
    no_more,
    one_more,
)

TO_10_M = "Time to 10 m"
NOT_PASSED = {"given_at": None, "given_by": None, "passed_at": None, "passed_by": None}
SPREAD_QUERIES = 3  # whose swims count, their marks, the clubs' turn zones


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def among(swim: Swim) -> list[Among]:
    found = Swim.objects.select_related("entry__swimmer", "entry__clinic__club").get(pk=swim.pk)
    measured = measured_many([found], Mark.objects.all())[found.pk]
    return among_others(found, measured)


def to_10_m(swim: Swim) -> Any:
    """The spread of one measure beside this swim."""
    return next(
        one.spread
        for one in among(swim)
        if one.measure.key == "time-to-distance" and one.measure.at_m == 10.0
    )


def page(user: Any, swim: Swim) -> str:
    url = reverse("feedback:swim-pictures", args=[swim.pk])
    answer = sign_in(Client(), user).get(url + "?part")
    assert answer.status_code == 200
    return answer.content.decode().replace("\u00a0", " ")


def test_the_middle_and_the_middle_half_of_five_others_are_shown(cast: Cast) -> None:
    group(cast, 5)
    found = to_10_m(cast.swims["tomas"])
    # 5.35 s (tests/feedback/measuring/swims.py) and 0.31 s more for each: the third is the middle
    assert found.middle == pytest.approx(5.35 + 3 * APART_S, abs=found.step / 2 + 0.04)
    assert found.low == pytest.approx(5.35 + 2 * APART_S, abs=found.step / 2 + 0.04)
    assert found.high == pytest.approx(5.35 + 4 * APART_S, abs=found.step / 2 + 0.04)
    assert found.step >= 2 * APART_S / 5


def test_five_who_become_four_show_nothing(cast: Cast) -> None:
    others = group(cast, 5)
    assert to_10_m(cast.swims["tomas"]) is not None
    end_consent(swimmer=others[2].entry.swimmer, purpose=COUNT, by=cast.admin)
    assert all(one.spread is None for one in among(cast.swims["tomas"]))


def _film_withdrawn(cast: Cast, swim: Swim) -> None:
    end_consent(swimmer=swim.entry.swimmer, purpose="film-and-review", by=cast.admin)


def _erasing(cast: Cast, swim: Swim) -> None:
    PersonRequest.objects.create(
        kind=PersonRequest.Kind.ERASE,
        subject_kind="clinics.Swimmer",
        subject_id=swim.entry.swimmer_id,
        club=cast.harbour,
        state=PersonRequest.State.WAITING,
        due_at=FIRST_START,
    )


def _held(kind: str) -> Callable[[Cast, Swim], None]:
    def hold(cast: Cast, swim: Swim) -> None:
        pk = {"Swim": swim.pk, "Swimmer": swim.entry.swimmer_id, "Entry": swim.entry_id}[kind]
        Hold.objects.create(
            subject_kind=f"clinics.{kind}",
            subject_id=pk,
            reason="asked",
            owner=cast.admin,
            review_on=FIRST_START.date(),
        )

    return hold


def _changed(**fields: Any) -> Callable[[Cast, Swim], None]:
    def change(cast: Cast, swim: Swim) -> None:
        Swim.objects.filter(pk=swim.pk).update(**fields)

    return change


def _entry_changed(**fields: Any) -> Callable[[Cast, Swim], None]:
    def change(cast: Cast, swim: Swim) -> None:
        Entry.objects.filter(pk=swim.entry_id).update(**fields)

    return change


def _minor(cast: Cast, swim: Swim) -> None:
    clip = make_clip(swim, cast.recordings["start-side"], 1)
    MinorReport.objects.create(clip=clip, reported_by=cast.coach)


def _somebody_against_in_it(cast: Cast, swim: Swim) -> None:
    """Sol withdrew, and can be recognised: the swim is out of everybody's sight."""
    swim.recognised.create(swimmer=cast.swims["sol"].entry.swimmer)


def _no_marks(cast: Cast, swim: Swim) -> None:
    swim.marks.all().delete()


@pytest.mark.parametrize(
    "out",
    [
        _film_withdrawn,
        _erasing,
        _held("Swim"),
        _held("Swimmer"),
        _held("Entry"),
        _changed(given_at=None, given_by=None),
        _changed(**NOT_PASSED),
        _changed(**NOT_PASSED, person="unconfirmed"),
        _changed(**NOT_PASSED, person="wrong"),
        _changed(delete_by=FIRST_START),
        _entry_changed(stroke="backstroke"),
        _entry_changed(start="water"),
        _minor,
        _somebody_against_in_it,
        _no_marks,
    ],
)
def test_who_does_not_count_makes_five_to_four(cast: Cast, out: Any) -> None:
    others = group(cast, 5)
    assert to_10_m(cast.swims["tomas"]) is not None
    out(cast, others[1])
    assert to_10_m(cast.swims["tomas"]) is None


def test_nobody_counts_who_was_not_asked_or_said_no(cast: Cast) -> None:
    group(cast, 4)
    one_more(cast, 30, slower_s=1.0, counts=False)
    no = one_more(cast, 31, slower_s=1.1, counts=False)
    now = timezone.now()
    Consent.objects.create(
        swimmer=no.entry.swimmer, purpose=COUNT, choice="refuses", given_at=now, ended_at=now
    )
    for purpose in ("show-to-group", "coach-education", "publish"):
        Consent.objects.create(swimmer=no.entry.swimmer, purpose=purpose)
    assert to_10_m(cast.swims["tomas"]) is None


def test_two_goes_count_once(cast: Cast) -> None:
    others = group(cast, 4)
    for number in range(2, 9):
        marked(cast, another_go(others[0], number), 3.0)
    assert to_10_m(cast.swims["tomas"]) is None
    one_more(cast, 30, slower_s=5 * APART_S)
    # the mean of one's goes, the slow ones too: that one is the slowest now, and not eight of them
    found = to_10_m(cast.swims["tomas"])
    assert found.middle == pytest.approx(5.35 + 4 * APART_S, abs=found.step / 2 + 0.04)


def test_somebody_who_is_listed_twice_counts_once(cast: Cast) -> None:
    group(cast, 4)
    one_more(cast, 30, slower_s=1.0, user=cast.other_swimmer, name="Kit Maddern")
    assert to_10_m(cast.swims["tomas"]) is not None
    Swimmer.objects.filter(name="Swimmer 11").update(user=cast.other_swimmer, name="Kit maddern")
    assert to_10_m(cast.swims["tomas"]) is None


def test_other_clinics_and_clubs_are_never_in_it(cast: Cast) -> None:
    others = group(cast, 5)
    there = cast.swims["other"]
    let_count(there.entry.swimmer)
    marked(cast, there, 40.0)
    Entry.objects.filter(pk=others[0].entry_id).update(clinic=cast.other_clinic)
    assert to_10_m(cast.swims["tomas"]) is None
    assert to_10_m(there) is None  # two of another club's clinic


def test_an_earlier_clinic_of_the_same_club_is_another(cast: Cast) -> None:
    others = group(cast, 5)
    earlier = Clinic.objects.get(pk=cast.clinic.pk)
    earlier.pk, earlier.slug = None, "harbour-spring"
    earlier.id = Clinic._meta.pk.get_default()  # type: ignore[union-attr]
    earlier._state.adding = True
    earlier.save()
    Entry.objects.filter(pk=others[0].entry_id).update(clinic=earlier)
    assert to_10_m(cast.swims["tomas"]) is None


def test_a_measure_that_four_others_have_is_not_shown_beside_those_of_five(cast: Cast) -> None:
    others = group(cast, 5)
    others[0].marks.filter(kind="feet-leave-block").delete()
    found = {one.measure.key: one.spread for one in among(cast.swims["tomas"])}
    assert found["block-time"] is None and found["breakout-time"] is not None


# --- what can be read from differences -----------------------------------------------------------


def test_ones_own_answer_changes_nothing_on_ones_own_page(cast: Cast) -> None:
    """Else whoever turns it off and on reads from the difference where one other stands."""
    group(cast, 5)
    own = cast.swims["tomas"]
    without = page(cast.tomas, own)
    let_count(own.entry.swimmer)
    assert page(cast.tomas, own) == without
    no_more(own.entry.swimmer)
    assert page(cast.tomas, own) == without


def test_ones_own_answer_does_not_make_four_others_to_five(cast: Cast) -> None:
    group(cast, 4)
    let_count(cast.swims["tomas"].entry.swimmer)
    assert to_10_m(cast.swims["tomas"]) is None


def test_all_own_goes_have_the_same_others(cast: Cast) -> None:
    group(cast, 5)
    own = cast.swims["tomas"]
    let_count(own.entry.swimmer)
    second = marked(cast, another_go(own, 2), 9.0)
    assert [one.spread for one in among(second)] == [one.spread for one in among(own)]


def test_an_account_of_two_has_no_two_pages_to_compare(cast: Cast) -> None:
    group(cast, 5)
    own, partner = cast.swims["tomas"], marked(cast, cast.swims["wren"], 2.0)
    for swim in (own, partner):
        let_count(swim.entry.swimmer)
    assert to_10_m(own) != to_10_m(partner)  # two accounts: each counts beside the other
    Swimmer.objects.filter(user=cast.wren).update(user=cast.tomas)
    assert to_10_m(own) == to_10_m(partner)


def test_coach_and_swimmer_read_the_same(cast: Cast) -> None:
    group(cast, 5)
    own = cast.swims["tomas"]

    def part(user: User) -> str:
        return page(user, own).split('data-picture="among"', 1)[1].split("</details>")[0]

    assert part(cast.tomas) == part(cast.coach) and "<td" in part(cast.coach)


def test_neither_names_nor_how_many_nor_extremes_are_on_the_page(cast: Cast) -> None:
    group(cast, 7)
    body = page(cast.tomas, cast.swims["tomas"])
    part = body.split("Among the clinic’s swimmers", 1)[1]
    assert not re.search(r"Swimmer \d", body)
    assert "Middle of the others" in part
    words = re.sub(r"<[^>]+>|\d+\.\d+", " ", part)  # without the figures themselves
    assert not re.search(r"\b(7|seven)\b", words)
    line = re.search(rf"{TO_10_M}</th>(.*?)</tr>", part, re.S)
    assert line is not None
    figures = [float(one) for one in re.findall(r"(\d+\.\d+)", re.sub(r"<[^>]+>", " ", line[1]))]
    low, high = 5.35 + 2 * APART_S, 5.35 + 6 * APART_S  # the second and the last but one of seven
    assert all(low - 0.3 <= one <= high + 0.3 for one in figures[2:]) and len(figures) == 5


@pytest.mark.parametrize("count", [0, 4])
def test_fewer_than_five_are_said_without_telling_how_many(cast: Cast, count: int) -> None:
    group(cast, count)
    told = page(cast.tomas, cast.swims["tomas"]).split("Among the clinic’s swimmers", 1)[1]
    assert "There are fewer, so nothing is shown." in told
    assert "svg" not in told and "table" not in told
    if count:
        no_more(Swimmer.objects.get(name="Swimmer 11"))
        again = page(cast.tomas, cast.swims["tomas"]).split("Among the clinic’s swimmers", 1)[1]
        assert again == told


def test_who_looks_need_not_agree(cast: Cast) -> None:
    group(cast, 5)
    own = cast.swims["tomas"]
    assert not own.entry.swimmer.consents.filter(purpose=COUNT).exists()
    assert "Middle of the others" in page(cast.tomas, own)


def test_no_others_swim_can_be_opened_by_it(cast: Cast) -> None:
    """The purpose opens no footage and no other's page."""
    others = group(cast, 5)
    client = sign_in(Client(), cast.tomas)
    for name in ("feedback:swim", "feedback:swim-pictures", "feedback:swim-measures"):
        assert client.get(reverse(name, args=[others[0].pk])).status_code == 404
    assert not Swim.objects.visible_to(cast.tomas).exclude(pk=cast.swims["tomas"].pk).exists()


# --- what it costs -------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [5, 40])
def test_many_others_cost_the_same_queries(cast: Cast, count: int) -> None:
    group(cast, count)
    own = Swim.objects.select_related("entry__swimmer", "entry__clinic__club").get(
        pk=cast.swims["tomas"].pk
    )
    measured = measured_many([own], Mark.objects.all())[own.pk]
    with CaptureQueriesContext(connection) as asked:
        found = among_others(own, measured)
    assert all(one.spread for one in found) and len(asked) == SPREAD_QUERIES


def test_without_enough_others_nothing_is_measured(cast: Cast) -> None:
    group(cast, 1)
    own = Swim.objects.select_related("entry__swimmer", "entry__clinic__club").get(
        pk=cast.swims["tomas"].pk
    )
    measured = measured_many([own], Mark.objects.all())[own.pk]
    with CaptureQueriesContext(connection) as asked:
        among_others(own, measured)
    assert len(asked) == 1


def test_a_swim_without_measures_asks_nobody(cast: Cast) -> None:
    others = group(cast, 5)
    bare = others[0]
    bare.marks.all().delete()
    assert among(bare) == []
    marked(cast, bare, 0.0, TRUTH[:1])  # the first movement alone is not compared
    assert among(bare) == []
