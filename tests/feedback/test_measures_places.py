"""Measures on the page from distances that were typed and from planes in the picture; a medley's
strokes; what a start that was marked shares with its view."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinics.compute.time import clinic_instant, ticks_to_media_s
from clinics.models import Clinic, ClockFit, Entry, Swim
from feedback.actions.length_strokes import say_strokes
from feedback.actions.mark import place_mark
from feedback.actions.measured import measured_many, measured_of
from feedback.actions.start_mark import count_from_mark
from feedback.models import LengthStrokes, Mark, PicturePlane
from portal.models import AuditEntry
from tests.cast import Cast, sign_in
from tests.feedback.measuring.planes import MARKED, pixel_of
from tests.feedback.said import another_go
from tests.feedback.test_measures_page import heard, mark, read, words

W, H = 1920, 1080


def plane(cast: Cast, **more: Any) -> PicturePlane:
    recording = cast.recordings["underwater"]
    points = [
        {"x": px / W, "y": py / H, "along_m": x_m, "across_m": y_m, "u_m": 0.02, "what": "marker"}
        for (x_m, y_m), (px, py) in ((place, pixel_of(*place)) for place in MARKED)
    ]
    size = {"picture_width": W, "picture_height": H}
    told = {"recording": recording, "pts_ticks": 0, "points": points, **size, **more}
    return PicturePlane.objects.create(placed_by=cast.coach, **told)


def at(x_m: float, y_m: float = 1.25) -> dict[str, float]:
    px, py = pixel_of(x_m, y_m)
    return {"x": px / W, "y": py / H}


def head(cast: Cast, frame: int, x_m: float) -> Mark:
    return mark(cast, frame, "head-at-distance", **at(x_m))


def test_a_typed_distance_gives_the_way_under_water_and_the_flight(cast: Cast) -> None:
    heard(cast)
    mark(cast, 10, "first-entry", distance_m=3.1, distance_u_m=0.05)
    mark(cast, 60, "breakout", distance_m=11.5)
    told = words(read(cast, cast.coach))
    assert "Flight distance 3.10 m ± 0.10 m" in told
    assert "Distance under water, length 1 11.50 m ± 0.05 m" in told
    assert "The distance was typed." in told
    assert "it is not the way of the centre of mass" in told


def test_places_in_a_plane_give_distances_and_say_so(cast: Cast) -> None:
    heard(cast)
    plane(cast, under_water=True)
    mark(cast, 20, "breakout", **at(9.0))
    head(cast, 40, 10.0)
    head(cast, 90, 13.6)  # 2 s later: 1.8 m/s
    told = words(read(cast, cast.coach))
    assert "Speed of a segment, 10 m to 13.6 m 1.80" in told
    assert "By the plane in the picture: 10.0" in told
    assert "camera is above the water" not in told and "outside of the marks" not in told
    assert "from the start" in told
    assert "By the plane in the picture" in words(read(cast, cast.tomas))


def test_cautions_of_a_plane_are_said(cast: Cast) -> None:
    heard(cast)
    plane(cast, under_water=False)
    mark(cast, 40, "head-at-distance", **at(10.0))
    mark(cast, 90, "head-at-distance", **at(13.0, -0.6))
    told = words(read(cast, cast.coach))
    assert "A spot lies outside of the marks of the plane" in told
    assert "This camera is above the water: it cannot place what is below the surface" in told


def test_without_a_plane_nothing_is_assumed_and_the_next_step_is_said(cast: Cast) -> None:
    heard(cast)
    head(cast, 40, 10.0)
    told = words(read(cast, cast.coach))
    assert "Time to" not in told.split("Definition")[0]
    assert "Some marks have a place in a picture of which no metres are known" in told
    assert "Some marks have a place" not in words(read(cast, cast.tomas))
    elsewhere = plane(cast)
    elsewhere.from_ticks = 10**9  # it holds later
    elsewhere.save()
    assert "Some marks have a place" in words(read(cast, cast.coach))


def test_typed_and_seen_that_differ_are_a_trouble_of_the_page(cast: Cast) -> None:
    heard(cast)
    plane(cast, under_water=True)
    mark(cast, 40, "breakout", distance_m=12.5, **at(9.5))
    shown = read(cast, cast.coach)
    trouble = words(shown.split('class="trouble"')[1].split("</div>")[0])
    assert "12.5 m was typed, the plane in the picture has 9.47" in trouble
    assert "it counts before the plane in the picture" in words(shown)


@pytest.mark.parametrize("swims", [1, 3])
def test_places_ask_one_query_more_for_all_swims(
    cast: Cast, swims: int, django_assert_num_queries: Any
) -> None:
    plane(cast, under_water=True)
    head(cast, 40, 10.0)
    mine = [cast.swims["tomas"], *(another_go(cast.swims["tomas"], n) for n in range(2, swims + 1))]
    placed = Mark.objects.get()
    for swim in mine[1:]:
        placed.pk, placed.swim = None, swim
        placed.save()
    rows = list(
        Swim.objects.filter(pk__in=[one.pk for one in mine]).select_related("entry__clinic__club")
    )
    with django_assert_num_queries(3):
        found = measured_many(rows, Mark.objects.all())
    heads = [one.swim.lengths[0].heads[0] for one in found.values()]
    assert [round(one.swum.value, 3) for one in heads if one.swum] == [10.0] * swims
    Mark.objects.update(x=None, y=None, distance_m=10.0)
    with django_assert_num_queries(2):
        measured_many(rows, Mark.objects.all())


# --- a start that was marked ------------------------------------------------------------------


def test_the_clock_of_the_view_drops_out_after_counting_from_its_mark(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    """Two frames of 25 a second are left, 0.7764 / 25 s, however poor the clock; without the
    choice of frame its error stands in the start and in the mark."""
    heard(cast)
    signal = mark(cast, 0, "start-signal")
    mark(cast, 40, "breakout")
    ClockFit.objects.filter(recording=cast.recordings["underwater"]).update(u_ms=40.0)
    swim = Swim.objects.get(pk=cast.swims["tomas"].pk)
    Swim.objects.filter(pk=swim.pk).update(start_at=signal_at(signal))
    count_from_mark(mark=Mark.objects.get(kind="start-signal"), by=cast.coach)
    swim = Swim.objects.select_related("entry__clinic__club").get(pk=swim.pk)
    assert swim.start_kind == "mark" and swim.start_u_ms > 40
    with django_assert_num_queries(2):  # the choice comes with the marks
        many = measured_many([swim], Mark.objects.all())
    for told in (measured_of(swim, Mark.objects.all()), many[swim.pk]):
        out = told.get("breakout-time")
        assert out is not None
        assert out.quantity.value == pytest.approx(40 / 25, abs=1e-3)
        assert out.quantity.half_width_95 == pytest.approx(0.7764 / 25, rel=0.01)
    told_here = words(read(cast, cast.coach))
    assert "Breakout 1.60 s ± 0.04 s" in told_here
    assert "Against marks of the same view only its frame counts." in told_here


def signal_at(signal: Mark) -> Any:
    fit = signal.recording.clock_fit
    return clinic_instant(fit.zero_at, fit.rate_ppm, ticks_to_media_s(signal.pts_ticks))


# --- a medley ---------------------------------------------------------------------------------


def medley(cast: Cast) -> Swim:
    Entry.objects.filter(pk=cast.swims["tomas"].entry_id).update(stroke="medley")
    Clinic.objects.filter(pk=cast.clinic.pk).update(course_m=25.0, distance_m=75.0)
    for n in range(8):
        mark(cast, 10 + 10 * n, "hand-entry")
    return Swim.objects.select_related("entry__clinic__club").get(pk=cast.swims["tomas"].pk)


def post_strokes(cast: Cast, *strokes: str) -> Any:
    return post_by(cast, cast.coach, *strokes)


def post_by(cast: Cast, person: Any, *strokes: str) -> Any:
    url = reverse("feedback:length-strokes", args=[cast.swims["tomas"].pk])
    told = {f"length-{n}": stroke for n, stroke in enumerate(strokes, start=1)}
    return sign_in(Client(), person).post(url, told)


def test_a_medley_asks_for_its_strokes_and_counts_them_when_they_are_said(cast: Cast) -> None:
    swim = medley(cast)
    told = words(read(cast, cast.coach))
    assert "Say below which stroke each length was; until then no stroke is counted." in told
    assert "Stroke rate" not in told and "Stroke of each length" in told
    assert "Stroke of each length" not in words(read(cast, cast.tomas))
    answer = post_strokes(cast, "butterfly", "backstroke", "freestyle")
    assert answer.status_code == 302 and answer["Location"].endswith("#measures")
    told = words(read(cast, cast.coach))
    assert "Stroke rate, length 1 150.0" in told  # body cycles, 0.4 s each
    post_strokes(cast, "freestyle", "backstroke", "butterfly")
    assert "Stroke rate, length 1 75.0" in words(read(cast, cast.coach))  # two entries a cycle
    assert AuditEntry.objects.filter(action="strokes-said").count() == 2
    assert measured_many([swim], Mark.objects.all())[swim.pk].get("stroke-rate", 1)


def test_strokes_that_are_not_said_are_asked_for_by_their_length(cast: Cast) -> None:
    medley(cast)
    answer = post_strokes(cast, "butterfly", "", "crawl")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Say the stroke of length 2. Say the stroke of length 3." in page
    assert not LengthStrokes.objects.exists()


def test_a_swim_in_one_stroke_has_no_strokes_to_say(cast: Cast) -> None:
    answer = post_strokes(cast, "butterfly", "backstroke", "freestyle")
    assert answer.status_code == 422 and not LengthStrokes.objects.exists()


def test_strokes_said_again_are_noted_once(cast: Cast) -> None:
    swim = medley(cast)
    for _ in range(2):
        say_strokes(swim=swim, strokes=["butterfly", "backstroke", "freestyle"], by=cast.coach)
    assert LengthStrokes.objects.count() == AuditEntry.objects.filter(action="strokes-said").count()


def test_only_coaches_say_strokes(cast: Cast) -> None:
    medley(cast)
    for name, person in cast.people().items():
        status = post_by(cast, person, "butterfly", "backstroke", "freestyle").status_code
        assert LengthStrokes.objects.exists() is (name == "coach"), (name, status)
        LengthStrokes.objects.all().delete()


def test_a_place_by_an_outsider_is_none(cast: Cast) -> None:
    """A mark is the coach's; nobody else's place gets in."""
    clip = cast.clips["tomas"][1]
    place_mark(swim=clip.swim, by=cast.coach, clip=clip, frame=40, kind="breakout")
    url = reverse("feedback:mark", args=[clip.swim_id])
    told = {"clip": str(clip.pk), "frame": "40", "kind": "breakout", "x": "0.1", "y": "0.1"}
    assert sign_in(Client(), cast.other_coach).post(url, told).status_code == 404
    assert Mark.objects.get().x is None
