"""A swim counted from a marked start signal: it stays chosen, follows its clock, and goes back."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinics.actions.align_save import save_swims
from clinics.actions.errors import BadInput
from clinics.models import ChosenStart, Clinic, ClockFit, Recording, StartLogEntry, Swim
from clinics.views.words import said
from feedback.actions.start_mark import count_from_found, count_from_mark
from feedback.models import Mark
from portal.models import AuditEntry
from tests.cast import FIRST_START, FPS, Cast, sign_in
from tests.feedback.test_measures_page import mark, read, words

REFERENCE = dt.datetime(2026, 11, 14, tzinfo=dt.UTC)


def swim_of(cast: Cast) -> Swim:
    return Swim.objects.select_related("entry__clinic", "log_entry").get(pk=cast.swims["tomas"].pk)


def near(cast: Cast, frame: int = 5) -> Mark:
    """The start signal on a frame; the swim is put so that it starts 1.0 s before that view."""
    fit = cast.recordings["underwater"].clock_fit
    placed = mark(cast, frame, "start-signal")
    at = fit.zero_at + dt.timedelta(seconds=placed.pts_ticks / 90_000)
    Swim.objects.filter(pk=placed.swim_id).update(
        start_at=at - dt.timedelta(seconds=1), start_kind="heard", start_u_ms=2.0
    )
    return Mark.objects.select_related("swim", "recording").get(pk=placed.pk)


def test_the_zero_is_half_a_frame_before_the_mark_as_sure_as_frame_and_clock(cast: Cast) -> None:
    ClockFit.objects.update(u_ms=3.0)
    placed = near(cast)
    before = swim_of(cast).start_at
    swim = count_from_mark(mark=placed, by=cast.coach)
    moved_s = (swim.start_at - before).total_seconds()
    assert moved_s == pytest.approx(1.0 - 0.5 / FPS, abs=1e-4)
    # one frame interval, rectangular, with the clock: 40 / sqrt(12) ms (GUM 4.3.7) and 3 ms
    assert swim.start_kind == "mark" and swim.start_u_ms == pytest.approx(11.9, abs=0.05)
    assert AuditEntry.objects.filter(action="start-marked").count() == 1
    assert "Times count from the start signal as marked on a frame, ± " in words(
        read(cast, cast.coach)
    )


def test_back_to_the_start_as_found_and_twice_is_once(cast: Cast) -> None:
    placed = near(cast)
    before = swim_of(cast)
    count_from_mark(mark=placed, by=cast.coach)
    for _ in range(2):
        swim = count_from_found(swim=swim_of(cast), by=cast.coach)
    assert (swim.start_at, swim.start_kind, swim.start_u_ms) == (before.start_at, "heard", 2.0)
    assert AuditEntry.objects.filter(action="start-as-found").count() == 1


def found(swim: Swim, recording: Recording, *, start_s: float, zero_s: float) -> Any:
    return SimpleNamespace(
        swims={str(swim.pk): SimpleNamespace(start_s=start_s, by="heard", u_s=0.002)},
        recordings={
            str(recording.pk): SimpleNamespace(zero_s=zero_s, rate_ppm=0.0, u_ms=3.0),
        },
    )


def test_a_later_fit_follows_the_mark_and_keeps_what_it_found_for_going_back(cast: Cast) -> None:
    placed = near(cast)
    count_from_mark(mark=placed, by=cast.coach)
    logged(cast)
    chosen = swim_of(cast)
    zero_at = cast.recordings["underwater"].clock_fit.zero_at
    zero_s = (zero_at - REFERENCE).total_seconds() + 0.137  # the clock is fitted anew
    fit = found(chosen, placed.recording, start_s=36_000.0, zero_s=zero_s)
    assert save_swims([chosen], fit, REFERENCE)
    after = swim_of(cast)
    assert after.start_kind == "mark"
    moved_s = (after.start_at - swim_start(placed, zero_at)).total_seconds()
    assert moved_s == pytest.approx(0.137, abs=1e-4)
    assert not save_swims([after], fit, REFERENCE)  # twice is the same as once
    back = count_from_found(swim=after, by=cast.coach)
    assert back.start_at == REFERENCE + dt.timedelta(seconds=36_000)
    assert (back.start_kind, back.start_u_ms) == ("heard", 2.0)


def logged(cast: Cast) -> None:
    swim = swim_of(cast)
    line = StartLogEntry.objects.create(
        clinic=swim.entry.clinic, client_id="one", entry=swim.entry, instant=FIRST_START
    )
    Swim.objects.filter(pk=swim.pk).update(log_entry=line)


def swim_start(placed: Mark, zero_at: dt.datetime) -> dt.datetime:
    half = 0.5 / FPS
    return zero_at + dt.timedelta(seconds=placed.pts_ticks / 90_000 - half)


def test_without_its_recording_the_chosen_start_stays_where_it_is(cast: Cast) -> None:
    placed = near(cast)
    count_from_mark(mark=placed, by=cast.coach)
    logged(cast)
    chosen = swim_of(cast)
    ChosenStart.objects.update(recording=None)
    fit = found(chosen, placed.recording, start_s=36_000.0, zero_s=0.0)
    assert not save_swims([chosen], fit, REFERENCE)
    assert swim_of(cast).start_at == chosen.start_at


def test_another_mark_is_taken_instead_and_the_first_start_stays_known(cast: Cast) -> None:
    first = near(cast)
    was = swim_of(cast).start_at
    count_from_mark(mark=first, by=cast.coach)
    other = mark(cast, 10, "start-signal")
    swim = count_from_mark(mark=Mark.objects.get(pk=other.pk), by=cast.coach)
    assert (swim.start_at - was).total_seconds() == pytest.approx(1.2 - 0.5 / FPS, abs=1e-3)
    assert ChosenStart.objects.get().found_at == was


def test_what_cannot_be_the_start_is_refused_in_a_sentence(cast: Cast) -> None:
    far = mark(cast, 40, "start-signal")  # 8.6 s after the start
    with pytest.raises(BadInput, match=r"8\.6 s from the start as found"):
        count_from_mark(mark=far, by=cast.coach)
    with pytest.raises(BadInput, match="Only a mark of the start signal"):
        count_from_mark(mark=mark(cast, 40, "breakout"), by=cast.coach)
    ClockFit.objects.update(zero_at=None, state="not-found", u_ms=None)
    with pytest.raises(BadInput, match="The clock of this view is not known"):
        count_from_mark(mark=near_unmoved(cast), by=cast.coach)
    Clinic.objects.update(state="closed", closed_at=FIRST_START)
    with pytest.raises(BadInput, match="closed"):
        count_from_mark(mark=far, by=cast.coach)
    assert not ChosenStart.objects.exists() and swim_of(cast).start_at == FIRST_START


def near_unmoved(cast: Cast) -> Mark:
    return mark(cast, 2, "start-signal")


def test_the_page_offers_the_marks_and_the_way_back(cast: Cast) -> None:
    placed = near(cast)
    client = sign_in(Client(), cast.coach)
    assert "Count from the start signal marked at 1.00 s" in words(read(cast, cast.coach))
    assert "Count from" not in words(read(cast, cast.tomas))
    answer = client.post(reverse("feedback:mark-zero", args=[placed.pk]))
    assert answer.status_code == 302 and answer["Location"].endswith("#measures")
    assert "Count from the start as heard again" in words(read(cast, cast.coach))
    client.post(reverse("feedback:zero-as-found", args=[placed.swim_id]))
    assert swim_of(cast).start_kind == "heard"


def test_a_refusal_stands_on_the_swims_page(cast: Cast) -> None:
    far = mark(cast, 40, "start-signal")
    client = sign_in(Client(), cast.coach)
    answer = client.post(reverse("feedback:mark-zero", args=[far.pk]))
    assert answer.status_code == 422
    assert "Is it the start of this swim?" in answer.content.decode()


def test_what_is_refused_can_be_said_in_another_language(cast: Cast) -> None:
    with pytest.raises(BadInput) as refused:
        count_from_mark(mark=mark(cast, 40, "breakout"), by=cast.coach)
    assert said(refused.value.errors[0][1]).startswith("Only a mark")
