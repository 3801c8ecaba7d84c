"""Asking for the stroke rate from the picture and reading it by the real job: the truth is drawn
into the film (drawn.py), and what may not be read is not."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinics.actions.consent import end_consent
from clinics.models import Clip
from feedback.actions import rate_read as acts
from feedback.actions.erase import erase_said
from feedback.actions.mark import place_mark
from feedback.compute.rate_read.film import Box
from feedback.compute.rate_read.result import Sure, reading_of
from feedback.management.demo_rates import ask_demo_rates
from feedback.models import Mark, RateReading
from portal.actions.job_runs import JobStopped
from portal.actions.job_worker import drain
from portal.actions.jobs import cancel
from portal.models import AuditEntry, Job
from portal.registry import Person
from tests.cast import Cast, sign_in
from tests.feedback.rate_read.filmed import BEGINS_S, Filmed, put

HTMX = {"HX-Request": "true"}


@pytest.fixture
def clip(cast: Cast, filmed: Filmed) -> Clip:
    return put(cast, filmed)


def ask(cast: Cast, clip: Clip, span: acts.Span | None = None) -> RateReading:
    span = span or acts.Span(0, clip.frame_count - 1)
    return acts.ask_rate(swim=clip.swim, by=cast.coach, clip=clip, span=span, stroke="freestyle")


def read(cast: Cast, clip: Clip, span: acts.Span | None = None) -> RateReading:
    row = ask(cast, clip, span)
    drain(("render",))
    row.refresh_from_db()
    return row


def posted(clip: Clip, more: dict[str, Any] | None = None) -> dict[str, Any]:
    return {"clip": str(clip.pk), "stroke": "freestyle", **(more or {})}


def test_the_rate_of_a_whole_view_is_read(cast: Cast, clip: Clip, filmed: Filmed) -> None:
    row = read(cast, clip)
    assert row.state == RateReading.State.READY, row.reason
    reading = reading_of(row.result or {})
    assert reading.sure is not Sure.NOT_FOUND
    true = filmed.rate(reading.from_s, reading.to_s)
    assert reading.rate_per_min == pytest.approx(true, rel=0.03)
    assert reading.cycles >= 3
    assert 0 <= reading.from_s < reading.to_s <= filmed.seconds


def test_a_span_with_a_box_is_read(cast: Cast, clip: Clip, filmed: Filmed) -> None:
    """The box stands on its last frame, so that the swimmer is followed backwards."""
    last = clip.frame_count - 1
    here = filmed.drawn.box
    assert here is not None
    moved = filmed.drawn.film.times_s[-21] * 14.0 / 240  # Scene.speed_px_s, of the width
    box = Box(min(here.x + moved, 1 - here.width), here.y, here.width, here.height)
    row = read(cast, clip, acts.Span(25, last, box, last))
    reading = reading_of(row.result or {})
    true = filmed.rate(1 + reading.from_s, 1 + reading.to_s)
    assert reading.rate_per_min == pytest.approx(true, rel=0.03)
    assert reading.way[-1].x == pytest.approx(box.x + box.width / 2, abs=0.1)


def test_asked_twice_it_is_read_once_and_noted_once(cast: Cast, clip: Clip) -> None:
    row = ask(cast, clip)
    assert ask(cast, clip).pk == row.pk
    drain(("render",))
    row.refresh_from_db()
    job = Job.objects.get(kind=acts.JOB_KIND)
    acts.run_read(job, lambda *_: pytest.fail("what is ready was read again"))
    again = RateReading.objects.get()
    assert (again.result, again.made_at) == (row.result, row.made_at)
    assert AuditEntry.objects.filter(action="rate-read.ask").count() == 1


def test_a_cancelled_reading_stops_its_decoder_and_leaves_nothing(cast: Cast, clip: Clip) -> None:
    row = ask(cast, clip)
    told: list[float] = []

    def pulse(share: float, *_: Any) -> None:
        told.append(share)
        if len(told) == 12:
            raise JobStopped("cancelled")

    with pytest.raises(JobStopped):
        acts.read(RateReading.objects.get(), pulse)
    assert told == sorted(told) and 0 < told[-1] < 0.2
    cancel(job=Job.objects.get(), by=cast.coach)
    drain(("render",))
    row.refresh_from_db()
    assert (row.state, row.result) == (RateReading.State.WAITING, None)


def test_a_damaged_file_is_said(cast: Cast, clip: Clip) -> None:
    path = clip.files.get(kind="video").stored.local_path()
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    row = read(cast, clip)
    assert row.state == RateReading.State.FAILED
    assert len(row.reason.split()) > 4 and row.result is None


def test_what_may_no_longer_be_shown_is_not_read(cast: Cast, clip: Clip) -> None:
    row = ask(cast, clip)
    end_consent(swimmer=clip.swim.entry.swimmer, purpose="film-and-review", by=cast.tomas)
    drain(("render",))
    row.refresh_from_db()
    assert row.state == RateReading.State.FAILED
    assert "no longer be shown" in row.reason


def test_it_goes_with_what_is_erased(cast: Cast, clip: Clip) -> None:
    ask(cast, clip)
    swimmer = clip.swim.entry.swimmer
    person = Person("clinics.Swimmer", swimmer.pk, cast.harbour, swimmer.name, user=swimmer.user)
    erase_said(person)
    assert not RateReading.objects.exists()


# --- the page ---------------------------------------------------------------------------------


def test_the_coach_sees_it_beside_the_count_and_the_swimmer_nothing(
    cast: Cast, clip: Clip, filmed: Filmed, client: Client
) -> None:
    sign_in(client, cast.coach)
    page = reverse("feedback:rate-read", args=[clip.swim_id])
    assert client.post(page, posted(clip), headers=HTMX).status_code == 200
    drain(("render",))
    shown = client.get(page, headers=HTMX).content.decode()
    assert "cycles/min ±" in shown and "Nothing is counted yet" in shown
    for kind, at_s in ((Mark.Kind.BREAKOUT, 0.1), *entries(filmed)):
        place_mark(swim=clip.swim, by=cast.coach, clip=clip, frame=round(at_s * 25), kind=kind)
    shown = client.get(page, headers=HTMX).content.decode()
    assert "They agree within their ±." in shown
    assert "strokes/min ±" in shown and "Hz" in shown
    sign_in(client, cast.tomas)
    assert client.get(page).status_code == 404
    clip.swim.given_at = clip.swim.passed_at
    clip.swim.save()
    swim = client.get(reverse("feedback:swim", args=[clip.swim_id])).content.decode()
    assert "Rate from the picture" not in swim and "cycles/min" not in swim


def entries(filmed: Filmed) -> list[tuple[str, float]]:
    """Hands that go in: both arms, each half a cycle after the other."""
    step_s = 30 / filmed.rate(0.5, 8.0)
    return [(Mark.Kind.HAND_ENTRY, 0.6 + n * step_s) for n in range(10)]


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"stroke": "medley"}, "Say which stroke is swum"),
        ({"clip": "nonsense"}, "That view is no longer there"),
        ({"from_frame": 50, "to_frame": 20}, "It ends before it begins"),
        ({"from_frame": 0, "to_frame": 99999}, "frames; choose one of them"),
        ({"box_x": 0.2}, "The box is not whole"),
        (
            {"box_x": 0.9, "box_y": 0.2, "box_width": 0.4, "box_height": 0.2, "box_frame": 3},
            "not in the picture",
        ),
        (
            {"box_x": 0.2, "box_y": 0.2, "box_width": 0.01, "box_height": 0.2, "box_frame": 3},
            "too small",
        ),
        (
            {
                **{"from_frame": 20, "to_frame": 90, "box_frame": 3},
                **{"box_x": 0.2, "box_y": 0.2, "box_width": 0.3, "box_height": 0.2},
            },
            "outside what is read",
        ),
    ],
)
def test_what_is_wrong_is_said(
    cast: Cast, clip: Clip, client: Client, more: dict[str, Any], sentence: str
) -> None:
    sign_in(client, cast.coach)
    page = reverse("feedback:rate-read", args=[clip.swim_id])
    answer = client.post(page, posted(clip, more), headers=HTMX)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not RateReading.objects.exists()


def test_without_a_script_it_is_a_page_of_its_own(cast: Cast, clip: Clip, client: Client) -> None:
    sign_in(client, cast.coach)
    page = reverse("feedback:rate-read", args=[clip.swim_id])
    answer = client.post(page, posted(clip), follow=True)
    assert answer.redirect_chain == [(page, 302)]
    row = RateReading.objects.get()
    assert row.to_ticks > row.from_ticks and row.box is None
    gone = client.post(reverse("feedback:rate-read-remove", args=[row.pk]), follow=True)
    assert gone.status_code == 200 and not RateReading.objects.exists()
    assert not Job.objects.filter(state="waiting").exists()


def test_a_longer_list_asks_no_more(cast: Cast, clip: Clip, client: Client) -> None:
    sign_in(client, cast.coach)
    page = reverse("feedback:rate-read", args=[clip.swim_id])
    counts = []
    first = read(cast, clip)
    for many in (1, 3):
        while RateReading.objects.count() < many:
            RateReading.objects.create(
                swim=clip.swim,
                recording=clip.recording,
                clip=clip,
                from_ticks=first.from_ticks,
                to_ticks=first.to_ticks,
                stroke="freestyle",
                state="ready",
                result=first.result,
                asked_by=cast.coach,
            )
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert client.get(page, headers=HTMX).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_times_are_those_of_the_swim(cast: Cast, clip: Clip, client: Client) -> None:
    row = read(cast, clip)
    sign_in(client, cast.coach)
    shown = client.get(reverse("feedback:rate-read", args=[clip.swim_id])).content.decode()
    reading = reading_of(row.result or {})
    assert f"{BEGINS_S + reading.from_s:.1f} to {BEGINS_S + reading.to_s:.1f} s" in shown


def test_the_demo_asks_once_for_each_stroke(cast: Cast, clip: Clip) -> None:
    asked = ask_demo_rates(clinic=cast.clinic, by=cast.coach)
    assert asked == RateReading.objects.count() == Job.objects.filter(kind=acts.JOB_KIND).count()
    assert asked == 1  # only Tomas's swim has a view from the deck
    assert ask_demo_rates(clinic=cast.clinic, by=cast.coach) == 0
