"""The measures of a swim on its page: figures for coaches, words for swimmers."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinics.models import ClockFit, Swim
from feedback.actions.mark import place_mark
from feedback.models import Mark
from portal.models import User
from tests.cast import FPS, Cast, make_member, sign_in


def mark(cast: Cast, frame: int, kind: str, *, by: User | None = None, **more: Any) -> Mark:
    clip = cast.clips["tomas"][1]
    clip.refresh_from_db()
    told = {"swim": clip.swim, "by": by or cast.coach, "clip": clip, "frame": frame, "kind": kind}
    return place_mark(**{**told, **more})


def heard(cast: Cast, u_ms: float = 2.0) -> None:
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(start_kind="heard", start_u_ms=u_ms)
    ClockFit.objects.filter(recording=cast.recordings["underwater"]).update(u_ms=3.0)


def read(cast: Cast, person: User, name: str = "feedback:swim-measures") -> str:
    url = reverse(name, args=[cast.swims["tomas"].pk])
    answer = sign_in(Client(), person).get(url)
    assert answer.status_code == 200
    page = answer.content.decode().replace("\u00a0", " ")
    return page[page.index('id="measures"') :].split("</section>")[0]


def words(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def test_a_coach_reads_figures_with_their_half_width_and_what_they_are_from(cast: Cast) -> None:
    heard(cast)
    mark(cast, 40, "breakout")  # 7.0 s + 40 / 25 s, less half a frame
    shown = read(cast, cast.coach)
    told = words(shown)
    assert "Breakout 8.580 s ± 0.021 s" in told
    assert "from the start signal until the head breaks the surface" in told
    assert "Definition: common practice, no source" in told
    assert f"?view={cast.clips['tomas'][1].pk}&amp;at=40" in shown
    assert "Times count from the start signal as heard, ± 4 ms." in told


def test_a_swimmer_reads_the_value_and_in_words_how_sure_it_is(cast: Cast) -> None:
    heard(cast)
    mark(cast, 40, "breakout")
    line = read(cast, cast.tomas).split("<summary>")[2].split("</summary>")[0]
    assert words(line) == "Breakout 8.58 s sure"
    assert "± 0.021 s" in words(read(cast, cast.tomas))  # behind the line
    assert "Mark " not in words(read(cast, cast.tomas))


def test_what_is_too_unsure_has_no_figure_to_quote(cast: Cast) -> None:
    heard(cast, u_ms=300.0)
    mark(cast, 0, "first-movement")
    mark(cast, 10, "first-entry")
    Swim.objects.update(start_u_ms=3000.0)
    told = words(read(cast, cast.coach))
    assert "Time to entry too unsure to say" in told
    assert "7.3" not in told.split("Time to entry")[1].split("Definition")[0]
    assert "as heard, ± 6 s" in told


def test_where_nothing_can_be_told_the_next_step_is_said_to_coaches(cast: Cast) -> None:
    told = words(read(cast, cast.coach))
    assert "Mark the breakout: the first frame in which the head breaks the surface." in told
    assert 'id="measures-title">Measures' in read(cast, cast.coach)
    assert read(cast, cast.tomas).split(">")[0].endswith("hidden")


def test_marks_that_do_not_go_together_are_named_and_lead_to_their_frames(cast: Cast) -> None:
    mark(cast, 10, "first-entry")
    mark(cast, 60, "first-entry")
    shown = read(cast, cast.coach)
    assert "A swim has one: take the other mark away." in words(shown)
    trouble = shown.split('class="trouble"')[1].split("</div>")[0]
    assert "at=10" in trouble and "at=60" in trouble
    assert 'class="trouble"' not in read(cast, cast.tomas)


def test_two_peoples_marks_are_set_beside_each_other_for_coaches(cast: Cast) -> None:
    heard(cast)
    make_member(cast.harbour, cast.other_coach, "coach")
    mark(cast, 40, "breakout")
    mark(cast, 42, "breakout", by=cast.other_coach)
    told = words(read(cast, cast.coach))
    apart = told.split("Marked more than once")[1]
    assert f"Ines Aldana, {7 + 40 / FPS:.2f} s" in apart and "0.080 s apart" in apart
    assert "Spread of “head breaks surface”: 0.057 s" in apart
    # each reads their own: 8.58 and 8.66 s, both with the spread in their ±
    assert "Breakout 8.58 s ± 0.12 s" in told
    assert "Breakout 8.66 s ± 0.12 s" in words(read(cast, cast.other_coach))
    assert "Marked more than once" not in read(cast, cast.tomas)


def test_without_a_clock_it_is_said_that_times_are_not_known(cast: Cast) -> None:
    mark(cast, 40, "breakout")
    ClockFit.objects.filter(recording=cast.recordings["underwater"]).update(
        zero_at=None, state="not-found", u_ms=None
    )
    told = words(read(cast, cast.coach))
    assert "Of some marks the time is not known" in told and "Breakout" not in told


@pytest.mark.parametrize("name", ["feedback:swim", "feedback:swim-measures"])
def test_the_page_and_the_part_that_renews_it_say_the_same(cast: Cast, name: str) -> None:
    heard(cast)
    mark(cast, 40, "breakout")
    assert words(read(cast, cast.coach, name)) == words(read(cast, cast.coach))


@pytest.mark.parametrize("count", [1, 3])
def test_the_part_takes_the_same_queries_for_more_marks(
    cast: Cast, count: int, django_assert_max_num_queries: Any
) -> None:
    for n in range(count):
        mark(cast, 10 * n, "hand-entry")
    client = sign_in(Client(), cast.coach)
    url = reverse("feedback:swim-measures", args=[cast.swims["tomas"].pk])
    client.get(url)
    with django_assert_max_num_queries(20) as asked:
        client.get(url)
    assert len(asked) == 13


def test_a_name_with_markup_stays_text(cast: Cast) -> None:
    cast.coach.name = "<b>Ines</b>"
    cast.coach.save()
    for frame in (40, 41):
        mark(cast, frame, "breakout")
    assert "<b>Ines</b>" not in read(cast, cast.coach)
