"""Two swims side by side: which one opens, who may see it, what is said of it."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.models import Clip, Consent, Swim, Swimmer
from feedback.actions.comparable import before, others
from portal.models import Hold, User
from tests.cast import FIRST_START, FPS, Cast, sign_in
from tests.feedback.two_swims import EARLIER, enter, last_time, marked, swim_of


def get(by: User | None, swim: Swim, other: Swim | None = None, query: str = "") -> Any:
    name = "feedback:compare-with" if other else "feedback:compare"
    args = [swim.pk, other.pk] if other else [swim.pk]
    return sign_in(Client(), by).get(reverse(name, args=args) + query)


def told(answer: Any) -> dict[str, Any]:
    page = answer.content.decode()
    return json.loads(page.split('id="compare-data"')[1].split(">", 1)[1].split("</script>")[0])


def swims_in(answer: Any) -> list[str]:
    return [side["key"] for side in told(answer)["sides"]]


# --- which one opens -------------------------------------------------------------------------


def test_it_opens_beside_last_times_swim_earlier_first(cast: Cast) -> None:
    earlier, now = last_time(cast), cast.swims["tomas"]
    for person in (cast.coach, cast.tomas):
        assert swims_in(get(person, now)) == [str(earlier.pk), str(now.pk)]
        assert swims_in(get(person, now, earlier)) == swims_in(get(person, earlier, now))
    page = sign_in(Client(), cast.tomas).get(reverse("feedback:swim", args=[now.pk]))
    assert "Beside last time (24 October)" in page.content.decode()


def test_last_times_swim_is_of_the_same_stroke_if_there_is_one(cast: Cast) -> None:
    crawl = last_time(cast, start_at=EARLIER - dt.timedelta(days=30))
    later = last_time(cast, stroke="butterfly")
    now = cast.swims["tomas"]
    assert before(now, cast.coach) == crawl
    assert before(crawl, cast.coach) is None and before(later, cast.coach) == crawl
    crawl.clips.all().delete()
    assert before(now, cast.coach) == later


def test_nothing_earlier_is_said_and_others_are_offered(cast: Cast) -> None:
    answer = get(cast.coach, cast.swims["tomas"])
    page = answer.content.decode()
    assert answer.status_code == 200 and "There is no earlier swim of Tomas Birk" in page
    assert "Wren Okada" in page and "Sol Hagen" not in page and "Kit Maddern" not in page
    own = get(cast.tomas, cast.swims["tomas"]).content.decode()
    assert "Wren Okada" not in own and "There is no other swim that you may see." in own


def test_a_couple_with_one_account_is_not_taken_for_one_person(cast: Cast) -> None:
    earlier, now = last_time(cast), cast.swims["tomas"]
    partner = Swimmer.objects.create(
        club=cast.quillmoor, name="Ada Birk", user=cast.tomas, adult_attested_at=FIRST_START
    )
    Consent.objects.create(swimmer=partner, purpose="film-and-review")
    earlier.entry.swimmer = partner
    earlier.entry.save()
    assert before(now, cast.tomas) is None
    assert earlier in others(now, cast.tomas)
    Swimmer.objects.filter(pk=partner.pk).update(name="tomas birk")  # himself, at another club
    assert before(now, cast.tomas) == earlier


def test_swims_are_looked_for_by_name(cast: Cast) -> None:
    answer = get(cast.coach, cast.swims["tomas"], query="?name=okad").content.decode()
    assert "Wren Okada" in answer
    nobody = get(cast.coach, cast.swims["tomas"], query="?name=kit").content.decode()
    assert "No swim of “kit” that you may see." in nobody


# --- the fence -------------------------------------------------------------------------------


def same_as_absent(by: User | None, swim: Swim, other: Swim) -> bool:
    """Both ways round, the answer is that of a swim that is not there."""
    nowhere = Swim(pk="00000000-0000-4000-8000-000000000000")
    absent = get(by, swim, nowhere)
    answers = [get(by, swim, other), get(by, other, swim)]
    assert absent.status_code in {404, 302}
    return all(
        (one.status_code, one.content) == (absent.status_code, absent.content) for one in answers
    )


def test_both_swims_pass_the_fence_or_there_is_nothing(cast: Cast) -> None:
    earlier, now = last_time(cast), cast.swims["tomas"]
    for name, person in cast.people().items():
        may = name in {"coach", "swimmer"}
        if may:
            assert get(person, now, earlier).status_code == 200, name
        elif person is not None:
            assert same_as_absent(person, now, earlier), name
    assert same_as_absent(cast.tomas, now, cast.swims["wren"])  # not agreed to show it to others
    assert same_as_absent(cast.coach, now, cast.swims["other"])  # of another club
    assert same_as_absent(cast.coach, now, cast.swims["sol"])  # withdrew


def hide(earlier: Swim, how: str) -> None:
    if how == "held":
        Hold.objects.create(
            subject_kind=Swim._meta.label,
            subject_id=str(earlier.pk),
            reason="asked about",
            owner=earlier.given_by,
            review_on=dt.date(2027, 1, 1),
        )
    elif how == "not passed":
        Swim.objects.filter(pk=earlier.pk).update(passed_at=None, given_at=None)
    elif how == "not me":
        Swim.objects.filter(pk=earlier.pk).update(person="wrong")
    else:
        Swim.objects.filter(pk=earlier.pk).update(delete_by=timezone.now())


@pytest.mark.parametrize("how", ["held", "not passed", "not me", "due"])
def test_a_swim_that_is_hidden_is_neither_beside_nor_offered(cast: Cast, how: str) -> None:
    earlier, now = last_time(cast), cast.swims["tomas"]
    hide(earlier, how)
    for person in (cast.coach, cast.tomas):
        assert same_as_absent(person, now, earlier)
        assert before(now, person) is None and earlier not in others(now, person)
        assert b"24 October" not in get(person, now).content


def test_a_swim_not_given_yet_is_the_coachs_alone(cast: Cast) -> None:
    earlier, now = last_time(cast, given_at=None, given_by=None), cast.swims["tomas"]
    assert get(cast.coach, now, earlier).status_code == 200
    assert same_as_absent(cast.tomas, now, earlier)


def test_withdrawing_ends_it_on_the_next_request(cast: Cast) -> None:
    wren, tomas = cast.swims["wren"], cast.swims["tomas"]
    assert get(cast.coach, tomas, wren).status_code == 200
    Consent.objects.filter(swimmer=wren.entry.swimmer).update(ended_at=timezone.now())
    assert same_as_absent(cast.coach, tomas, wren)


# --- what is told ------------------------------------------------------------------------------


def test_times_count_from_the_common_mark(cast: Cast) -> None:
    earlier, now = last_time(cast), cast.swims["tomas"]
    then, later = earlier.clips.get(station__kind="underwater"), cast.clips["tomas"][1]
    marked(cast, then, 30)
    marked(cast, later, 55)
    answer = get(cast.coach, now, query="?mark=breakout")
    data = told(answer)
    for side, clip, frame in zip(data["sides"], (then, later), (30, 55), strict=True):
        view = next(one for one in side["views"] if one["key"] == str(clip.pk))
        at_s = view["zero_s"] + (view["first_ticks"] / 90_000 + frame / FPS) * view["rate"]
        assert at_s == pytest.approx(0.0, abs=1e-9)
    assert data["shown"] == [str(then.pk), str(later.pk)]
    assert data["begin_s"] < 0 < data["end_s"]
    page = answer.content.decode()
    assert f"{side['offset_s']:.2f} s of this swim, as marked on a frame" in page


def test_without_marks_it_says_which_are_missing_and_starts_at_the_signal(cast: Cast) -> None:
    earlier, now = last_time(cast), cast.swims["tomas"]
    marked(cast, cast.clips["tomas"][1], 55)
    answer = get(cast.coach, now, query="?mark=breakout")  # not common: as if not asked
    page = answer.content.decode()
    assert [side["offset_s"] for side in told(answer)["sides"]] == [0.0, 0.0]
    assert "24 October 2026: the breakout is not marked." in page
    assert "14 November 2026: the breakout is not marked." not in page
    assert reverse("feedback:swim", args=[earlier.pk]) + "#marks" in page
    assert "start signal as heard" in page and "as tapped in the start log" in page
    assert b"#marks" not in get(cast.tomas, now).content  # a swimmer does not place marks


def test_what_differs_is_said(cast: Cast) -> None:
    earlier, now = last_time(cast, stroke="butterfly"), cast.swims["tomas"]
    type(earlier.entry.clinic).objects.filter(pk=earlier.entry.clinic_id).update(course_m=22.86)
    fit = cast.recordings["start-side"].clock_fit
    fit.state = "look"
    fit.save()
    page = get(cast.coach, now).content.decode()
    for sentence in (
        "Stroke: butterfly against freestyle.",
        "Course: 22.86 m against 25 m.",
        "the camera stood 1.5 m from where it stood for the other.",
        "14 November 2026: its time needs a look.",
        "pass 2: only 14 November 2026 has this view.",
    ):
        assert sentence in page, sentence
    assert "Distance:" not in page and "frames a second against" not in page


def test_a_view_without_a_clock_is_left_out_and_said(cast: Cast) -> None:
    earlier, now = last_time(cast), cast.swims["tomas"]
    fit = earlier.clips.get(station__kind="underwater").recording.clock_fit
    fit.zero_at, fit.state, fit.u_ms = None, "not-found", None
    fit.save()
    answer = get(cast.coach, now)
    assert len(told(answer)["sides"][0]["views"]) == 1
    assert "its time is not known, so that it cannot be in step." in answer.content.decode()


def test_what_makes_no_sense_in_the_address_opens_as_if_not_there(cast: Cast) -> None:
    last_time(cast)
    now = cast.swims["tomas"]
    plain = told(get(cast.coach, now))
    for query in ("?mark=wave", "?left=x&right=y", "?mark=breakout-9", f"?left={now.pk}"):
        assert told(get(cast.coach, now, query=query)) == plain, query
    other = str(cast.clips["tomas"][2].pk)
    assert told(get(cast.coach, now, query=f"?right={other}"))["shown"][1] == other


def test_beside_itself_there_is_nothing_to_compare(cast: Cast) -> None:
    now = cast.swims["tomas"]
    answer = get(cast.coach, now, now)
    assert answer.status_code == 200 and b"compare-data" not in answer.content


def test_many_swims_take_no_more_queries(cast: Cast, django_assert_max_num_queries: Any) -> None:
    last_time(cast)
    clinic = cast.swims["tomas"].entry.clinic
    client = sign_in(Client(), cast.coach)
    url = reverse("feedback:compare", args=[cast.swims["tomas"].pk])

    def count() -> int:
        with django_assert_max_num_queries(60) as asked:
            assert client.get(url).status_code == 200
        return len(asked)

    count()  # the first request of a session asks more
    few = count()
    for n in range(3):
        swimmer = Swimmer.objects.create(
            club=cast.harbour, name=f"Rower {n}", adult_attested_at=FIRST_START
        )
        Consent.objects.create(swimmer=swimmer, purpose="film-and-review")
        swim = swim_of(cast, enter(clinic, swimmer, 40 + n), FIRST_START)
        Clip.objects.filter(pk=cast.clips["wren"][n].pk).update(swim=swim)
    assert count() == few
