"""The pages that show clocks: one recording from beginning to end, and fits in figures."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import translation

from clinics.models import (
    ClinicClock,
    ClockFit,
    DroppedSpan,
    Recording,
    SourceFile,
    Tie,
)
from clinics.views import fit_words
from portal.models import Hold
from tests.cast import FIRST_START, Cast, make_recording, make_stored, sign_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def fitted(cast: Cast) -> Recording:
    """The start side: two starts heard, one slate, one tie set aside; sure within a frame."""
    row = cast.recordings["start-side"]
    ClockFit.objects.filter(recording=row).update(
        method="starts",
        tie_count=3,
        rate_ppm=-12.4,
        u_ms=6.1,
        u_begin_ms=6.1,
        u_mid_ms=2.2,
        u_end_ms=5.0,
        false_match_p=2.5e-5,
        state="sure",
    )
    for key, residual in (("tomas", 1.4), ("wren", -2.6)):
        place(row, cast, "start-heard", swim=key, found_by="sound", residual_ms=residual)
    at = FIRST_START + dt.timedelta(seconds=60)
    Tie.objects.create(
        recording=row,
        kind="slate-seen",
        found_by="slate",
        pts_ticks=80 * 90_000,
        instant=at,
        residual_ms=0.4,
        u_ms=9,
    )
    aside = "+300 ms from what the other ties say: wrong frame?"
    place(row, cast, "start-seen", swim="sol", late_s=0.32, set_aside=aside)
    ClinicClock.objects.create(
        clinic=cast.clinic, signal={"hz": 1180, "length_s": 0.31, "learned_from": str(row.pk)}
    )
    return row


def place(
    row: Recording, cast: Cast, kind: str, *, swim: str, late_s: float = 0, **more: Any
) -> Tie:
    start = cast.swims[swim].start_at + dt.timedelta(seconds=late_s)
    ticks = round((start - row.clock_fit.zero_at).total_seconds() * 90_000 / 3600) * 3600
    values = {"pts_ticks": ticks, "u_ms": 2.0} | more
    return Tie.objects.create(recording=row, kind=kind, swim=cast.swims[swim], **values)


def page(user: Any, path: str) -> str:
    answer = sign_in(Client(), user).get(path)
    assert answer.status_code == 200, path
    return " ".join(answer.content.decode().split())


def test_a_recording_says_in_words_how_right_its_clock_is(cast: Cast, fitted: Recording) -> None:
    told = page(cast.crew, f"/recordings/{fitted.pk}/")
    assert (
        "Clock found from 2 of 3 start signals, right within a frame from beginning to end." in told
    )
    assert "± 6.1 ms" in told and "± 2.2 ms" in told and "± 5.0 ms" in told
    assert "−12.4 ppm" in told
    assert "happens by chance once in 40,000 shuffled logs" in told
    before_details = told[: told.index("Show the fit")]
    assert "ppm" not in before_details and "± " not in before_details


def test_the_strip_tells_all_that_it_draws(cast: Cast, fitted: Recording) -> None:
    for number, name in ((1, "00012.MTS"), (2, "00013.MTS"), (3, "00014.MTS")):
        stored = make_stored(cast.harbour, b"x", kind="original", suffix=".mts", area="originals")
        SourceFile.objects.update_or_create(
            recording=fitted,
            order=number,
            defaults={
                "name": name,
                "sha256": "0" * 64,
                "size_bytes": 1,
                "stored": stored,
                "facts": {"duration_s": 80.0},
            },
        )
    DroppedSpan.objects.create(recording=fitted, from_ticks=60 * 90_000, to_ticks=65 * 90_000)
    told = page(cast.crew, f"/recordings/{fitted.pk}/")
    lane = told[told.index('class="lane-strip"') : told.index("</ol>", told.index("lane-strip"))]
    for line in (
        "0:20: start, 1 Tomas Birk",
        "1:05: start, 2 Wren Okada",
        "0:20: tie, start signal, heard: 1 Tomas Birk",
        "1:20: tie, slate, seen",
        "tie that does not count, start of a swim, seen: 3 Sol Hagen",
        "clip, 1 Tomas Birk, pass 1",
        "1:20: the camera went on in the file 00013.MTS",
        "2:40: the camera went on in the file 00014.MTS",
        "1:00 to 1:05: shown to nobody, a swimmer did not agree to be filmed",
        " to 4:00: shown to nobody",  # from before Sol Hagen's start: withdrew
    ):
        assert line in lane, line
    assert lane.count('class="start"') == 3
    assert lane.count('class="join"') == 2
    assert lane.count('class="tie"') == 3 and lane.count('class="tie hollow"') == 1
    assert len(set(re.findall(r'class="tie" d="([^"]*)"', lane))) == 2, "shapes tell kinds apart"


def test_the_plot_stands_to_scale_and_its_table_says_the_same(
    cast: Cast, fitted: Recording
) -> None:
    told = page(cast.crew, f"/recordings/{fitted.pk}/fit/")
    plot = told[told.index('class="fit-plot"') : told.index("</figure>")]
    assert "+10 ms" in plot and "−10 ms" in plot
    dots = re.findall(
        r'<svg x="([\d.]+)%" y="([\d.]+)%" overflow="visible"><path class="([^"]*)"', plot
    )
    assert dots[0] == ("8.333", "43.0", "tie")  # 20 s of 240; +1.4 of ±10 ms
    assert dots[1][1] == "63.0"  # −2.6
    assert dots[3][1:] == ("0.0", "tie hollow"), "an outlier stands at the edge, hollow"
    rows = re.findall(r"<tr> (?:<td>.*?</td> ?)+ ?</tr>", told)
    assert any("+1.4 ms" in row and "0:20.000" in row for row in rows)
    assert any("−2.6 ms" in row for row in rows)
    [aside] = [row for row in rows if "wrong frame?" in row]
    assert "+300 ms" in aside or "+29" in aside or "+30" in aside, aside
    assert "± 2.0 ms" in aside


def test_an_admin_sees_figures_and_no_footage(cast: Cast, fitted: Recording) -> None:
    for path in (f"/recordings/{fitted.pk}/fit/", f"/clinics/{cast.clinic.pk}/fit/"):
        told = page(cast.admin, path)
        assert "/frames/" not in told and "<img" not in told
        assert f'href="/recordings/{fitted.pk}/"' not in told
    assert f'href="/recordings/{fitted.pk}/"' in page(cast.crew, f"/recordings/{fitted.pk}/fit/")
    answer = sign_in(Client(), cast.admin).get(f"/recordings/{fitted.pk}/")
    assert answer.status_code == 404


def test_the_clinic_as_a_whole(cast: Cast, fitted: Recording) -> None:
    told = page(cast.checker, f"/clinics/{cast.clinic.pk}/fit/")
    assert "The start signal of this clinic is at 1180 Hz and lasts 0.31 s." in told
    assert "It was learned from Start side, Camera 1, take 1." in told
    assert "only a slate that was filmed at this clinic can tell" in told
    assert "10:12:10 to 10:16:10, 3 starts of the log" in told
    assert told.count('class="panel"') == 2
    ClinicClock.objects.update(taps_late_ms=212.0, taps_late_u_ms=9.0)
    told = page(cast.checker, f"/clinics/{cast.clinic.pk}/fit/")
    assert "late by 212 ms (± 9.0 ms)" in told


def test_the_number_of_questions_does_not_grow_with_recordings_and_ties(
    cast: Cast, fitted: Recording
) -> None:
    admin = sign_in(Client(), cast.admin)

    def asked() -> int:
        with CaptureQueriesContext(connection) as seen:
            admin.get(f"/clinics/{cast.clinic.pk}/fit/")
        return len(seen)

    asked()
    few = asked()
    for _n in range(3):
        row = make_recording(cast.start_side, cast.crew, zero_at=FIRST_START, frames=100)
        for key in ("tomas", "wren"):
            place(row, cast, "start-heard", swim=key, found_by="sound", residual_ms=1.0)
    assert asked() == few


def test_crew_see_the_figures_of_what_they_brought_in(cast: Cast, fitted: Recording) -> None:
    Recording.objects.filter(pk=fitted.pk).update(brought_in_by=cast.checker)
    assert sign_in(Client(), cast.crew).get(f"/recordings/{fitted.pk}/fit/").status_code == 404
    told = page(cast.crew, f"/clinics/{cast.clinic.pk}/fit/")
    assert (
        "Underwater 12.5 m, Camera 1, take 1" in told
        and "Start side, Camera 1, take 1</a>" not in told
    )


def test_who_may_see_figures_is_who_handles_and_the_clubs_admins(cast: Cast) -> None:
    row = cast.recordings["start-side"]

    def seen_by() -> set[str]:
        people = {who: user for who, user in cast.people().items() if user is not None}
        rows = {who: Recording.objects.measured_by(user) for who, user in people.items()}
        return {who for who, of in rows.items() if of.filter(pk=row.pk).exists()}

    assert seen_by() == {"checker", "crew", "club admin"}
    Hold.objects.create(
        subject_kind="clinics.Recording",
        subject_id=row.pk,
        reason="A question about it is open.",
        owner=cast.admin,
        review_on=dt.date(2027, 1, 1),
    )
    assert seen_by() == set(), "held is not visible"
    assert not Recording.objects.measured_by(AnonymousUser()).exists()


def test_slow_motion_shows_the_cameras_own_rate(cast: Cast, fitted: Recording) -> None:
    Recording.objects.filter(pk=fitted.pk).update(slow_motion=4)
    ClockFit.objects.filter(recording=fitted).update(rate_ppm=(1.00002 / 4 - 1) * 1e6)
    told = page(cast.admin, f"/recordings/{fitted.pk}/fit/")
    assert "+20.0 ppm" in told and "4 times" in told


def test_nothing_fitted_and_nothing_filmed(cast: Cast) -> None:
    row = cast.recordings["start-side"]
    ClockFit.objects.all().delete()
    for path in (f"/recordings/{row.pk}/", f"/recordings/{row.pk}/fit/"):
        assert "We do not know yet when this was filmed." in page(cast.crew, path)
    assert "not fitted yet" in page(cast.admin, f"/clinics/{cast.clinic.pk}/fit/")
    Recording.objects.filter(pk=row.pk).update(state="waiting", duration_s=None, frame_table=None)
    assert "It is being read." in page(cast.crew, f"/recordings/{row.pk}/")
    assert "There is no tie yet." in page(cast.crew, f"/recordings/{row.pk}/fit/")


# --- words ---------------------------------------------------------------------------------------


def test_one_notation_of_uncertainty_everywhere() -> None:
    assert [fit_words.pm(u) for u in (0.44, 9.96, 38.4, 999.0, 2000.0, None)] == [
        "± 0.44 ms",
        "± 10.0 ms",
        "± 38 ms",
        "± 999 ms",
        "± 2.0 s",
        "not known",
    ]
    assert [fit_words.ms(v) for v in (1.44, -2.6, 300.2, -1500.0, None)] == [
        "+1.4 ms",
        "−2.6 ms",
        "+300 ms",
        "−1.5 s",
        "",
    ]
    with translation.override("fr"):
        assert "0,4" in fit_words.pm(0.44)


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (2.5e-5, "once in 40,000 shuffled logs"),
        (1 / 3.4, "once in 3 shuffled logs"),
        (0.7, "to be expected by chance"),
        (0.0, "less often than once in a thousand million"),
        (None, ""),
    ],
)
def test_evidence_as_a_chance(p: float | None, said: str) -> None:
    assert said in fit_words.chance(p)


def test_the_sentence_follows_the_state() -> None:
    def said(**of: Any) -> str:
        values = {"starts": 38, "starts_of": 38, "heard": True, "frame_ms": 40.0}
        fit = ClockFit(**({"u_ms": 4.0, "state": "sure", "tie_count": 38, "method": "starts"} | of))
        return fit_words.clock_sentence(fit, **values)

    assert said() == (
        "Clock found from 38 of 38 start signals, right within a frame from beginning to end."
    )
    assert (
        "right within 2 frames at its beginning, within a frame in the middle and within "
        in said(u_ms=300.0, u_begin_ms=70.0, u_mid_ms=4.0, u_end_ms=300.0)
    )
    assert said(state="not-found", u_ms=None) == "We do not know yet when this was filmed."
    two = [{"zero_at": "x"}, {"zero_at": "y"}]
    assert "a person has to say which" in said(state="not-found", candidates=two)
