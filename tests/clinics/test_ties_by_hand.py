"""Ties by hand beyond a start on a frame: the same moment in two views, one of two places, the
factor of slow motion; and pictures that nobody sees."""

from __future__ import annotations

import datetime as dt
import io
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.test import Client
from PIL import Image

from clinics.actions.errors import BadInput
from clinics.actions.slow_motion import set_slow_motion
from clinics.actions.ties_by_hand import choose_place, place_same_moment, places_of
from clinics.compute.sound import travel_s
from clinics.media.contact import blanked
from clinics.media.probe import probe
from clinics.media.sandbox import Limits
from clinics.models import Clinic, ClockFit, Consent, DroppedSpan, Recording, SourceFile, Tie
from portal.models import AuditEntry, Job
from tests.cast import FIRST_START, Cast, make_recording, make_stored, save_frame_table, sign_in
from tests.matrix.footage import film

pytestmark = pytest.mark.django_db

FRAME = 3600  # ticks at 25 pictures a second


@pytest.fixture
def crew(cast: Cast) -> Client:
    return sign_in(Client(), cast.crew)


@pytest.fixture
def two(cast: Cast) -> tuple[Recording, Recording]:
    return cast.recordings["start-side"], cast.recordings["underwater"]


@pytest.fixture
def filmed(cast: Cast) -> Recording:
    """A recording of one second with real pictures, of which everybody agrees to be seen."""
    Consent.objects.filter(swimmer__user=cast.sol).update(ended_at=None)
    row = cast.recordings["start-side"]
    source = row.files.get()
    path = source.stored.local_path()
    film(path)
    source.facts = probe(path, shown_name=source.name, limits=Limits()).to_dict()
    source.save()
    save_frame_table(row.frame_table.local_path(), np.arange(25, dtype=np.int64) * FRAME)
    return row


# --- the same moment ------------------------------------------------------------


def test_the_same_moment_stands_on_both_frames_and_fits_anew(
    two: tuple[Recording, Recording], cast: Cast, crew: Client
) -> None:
    one, other = two
    sent = {"frame": "700", "other": str(other.pk), "other_frame": "712"}
    told = crew.post(f"/recordings/{one.pk}/ties/two/", sent, follow=True).content.decode()
    assert "these two frames show the same moment" in told
    tie = Tie.objects.get(kind="same-moment")
    assert (tie.recording, tie.pts_ticks) == (one, 700 * FRAME)
    assert (tie.other_recording, tie.other_ticks) == (other, 712 * FRAME)
    assert (tie.found_by, tie.placed_by) == ("person", cast.crew)
    assert tie.u_ms == pytest.approx(math.hypot(20, 20))  # half a frame interval of each
    assert AuditEntry.objects.filter(action="tie.placed", subject_id=str(tie.pk)).exists()
    assert Job.objects.filter(kind="align", subject_id=cast.clinic.pk).exists()
    crew.post(f"/recordings/{one.pk}/ties/two/", sent | {"other_frame": "713"})
    assert Tie.objects.get(kind="same-moment").other_ticks == 713 * FRAME, "placed again: moved"


def test_one_same_moment_places_a_silent_camera_within_a_frame(
    two: tuple[Recording, Recording], cast: Cast
) -> None:
    """Imposed: the silent camera began 7.345 s after the start camera; both see one splash."""
    one, other = two
    checker = sign_in(Client(), cast.checker)
    ClockFit.objects.filter(recording__in=two).delete()
    zero_at = FIRST_START - dt.timedelta(seconds=20)
    for key in ("tomas", "wren", "sol"):
        start_s = (cast.swims[key].start_at - zero_at).total_seconds()
        number = math.ceil(start_s * 25)  # the first frame at or after
        sent = {"frame": number, "swim": str(cast.swims[key].pk), "kind": "start-seen"}
        checker.post(f"/recordings/{one.pk}/ties/", sent)
    splash_s = 61.51
    sent = {"frame": math.ceil(splash_s * 25), "other": str(other.pk)}
    sent |= {"other_frame": math.ceil((splash_s - 7.345) * 25)}
    checker.post(f"/recordings/{one.pk}/ties/two/", sent)
    fits = {fit.recording_id: fit for fit in ClockFit.objects.filter(recording__in=two)}
    begun = fits[one.pk].zero_at, fits[other.pk].zero_at
    assert begun[0] is not None and begun[1] is not None
    assert (begun[1] - begun[0]).total_seconds() == pytest.approx(7.345, abs=1 / 25)
    told = checker.get(f"/recordings/{other.pk}/").content.decode()
    assert "Clock found from 1 tie" in told


def test_what_cannot_be_the_same_moment(two: tuple[Recording, Recording], cast: Cast) -> None:
    one, other = two
    elsewhere = cast.recordings["other"]

    def place(**more: Any) -> None:
        said: dict[str, Any] = {
            "recording": one,
            "pts_ticks": 0,
            "other": other,
            "other_ticks": 0,
            "by": cast.crew,
        }
        place_same_moment(**(said | more))

    for wrong, why in (
        ({"other": one}, "another recording than this"),
        ({"other": elsewhere}, "of the same clinic"),
        ({"pts_ticks": 1}, "no frame at 1 ticks"),
        ({"other_ticks": -FRAME}, "no frame at"),
        ({"other_ticks": 6000 * FRAME}, "no frame at"),
    ):
        with pytest.raises(BadInput, match=why):
            place(**wrong)
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=FIRST_START)
    one.station.clinic.refresh_from_db()
    with pytest.raises(BadInput, match="closed"):
        place()
    assert not Tie.objects.exists()


def test_only_who_handles_both_ties_them(
    two: tuple[Recording, Recording], cast: Cast, crew: Client
) -> None:
    one, other = two
    Recording.objects.filter(pk=other.pk).update(brought_in_by=cast.checker)
    sent = {"frame": "700", "other": str(other.pk), "other_frame": "712"}
    told = crew.post(f"/recordings/{one.pk}/ties/two/", sent, follow=True).content.decode()
    assert "Choose another view, and a frame in each." in told
    assert str(other.pk) not in told and "no other recording" in told
    assert not Tie.objects.exists()
    sign_in(Client(), cast.checker).post(f"/recordings/{one.pk}/ties/two/", sent)
    assert Tie.objects.count() == 1


def test_the_other_view_stands_at_the_same_instant(
    two: tuple[Recording, Recording], crew: Client
) -> None:
    one, other = two
    zero = one.clock_fit.zero_at
    assert zero is not None
    ClockFit.objects.filter(recording=other).update(zero_at=zero + dt.timedelta(seconds=4))
    told = crew.get(f"/recordings/{one.pk}/ties/two/?frame=700").content.decode()
    assert f"/recordings/{one.pk}/frames/700/" in told
    assert f"/recordings/{other.pk}/frames/600/" in told
    for odd in ("frame=-3", "frame=x", "other=x", "frame=999999", "other_frame=999999"):
        assert crew.get(f"/recordings/{one.pk}/ties/two/?{odd}").status_code == 200


def test_the_other_view_is_one_that_ran_at_that_instant(
    two: tuple[Recording, Recording], cast: Cast, crew: Client
) -> None:
    """A start camera makes a file for each group: the one that ran at this frame is offered."""
    one, other = two
    later = FIRST_START + dt.timedelta(seconds=60)
    running = make_recording(cast.underwater, cast.crew, zero_at=later, frames=500)
    early = crew.get(f"/recordings/{one.pk}/ties/two/?frame=100").content.decode()
    assert f"/recordings/{other.pk}/frames/100/" in early
    ClockFit.objects.filter(recording=other).update(zero_at=FIRST_START - dt.timedelta(hours=1))
    late = crew.get(f"/recordings/{one.pk}/ties/two/?frame={25 * 85}").content.decode()
    assert f"/recordings/{running.pk}/frames/{25 * 5}/" in late


def test_frames_that_nobody_sees_are_tied_by_nobody(
    two: tuple[Recording, Recording], crew: Client
) -> None:
    one, other = two
    DroppedSpan.objects.create(recording=other, from_ticks=0, to_ticks=100 * FRAME)
    sent = {"frame": "700", "other": str(other.pk), "other_frame": "50"}
    crew.post(f"/recordings/{one.pk}/ties/two/", sent)
    assert not Tie.objects.exists()


# --- what was found by itself ------------------------------------------------------------


def test_what_was_found_by_itself_says_so_and_stays(
    two: tuple[Recording, Recording], cast: Cast, crew: Client
) -> None:
    row, values = two[0], {"pts_ticks": 500 * FRAME, "u_ms": 2, "swim": cast.swims["tomas"]}
    found = Tie.objects.create(recording=row, kind="start-heard", found_by="sound", **values)
    own = Tie.objects.create(recording=row, kind="start-seen", placed_by=cast.crew, **values)
    told = crew.get(f"/recordings/{row.pk}/").content.decode()
    assert "One tie was found by itself" in told and "what a person places counts before it" in told
    assert f"/ties/{found.pk}/remove/" not in told and f"/ties/{own.pk}/remove/" in told
    assert crew.post(f"/ties/{found.pk}/remove/").status_code == 404
    assert Tie.objects.filter(pk=found.pk).exists()


# --- two possible places ------------------------------------------------------------


@pytest.fixture
def torn(cast: Cast) -> Recording:
    """It may begin 20 s before the first start, or 45.3 s earlier: a start later."""
    row = cast.recordings["start-side"]
    row.clock_fit.delete()
    zero_at = FIRST_START - dt.timedelta(seconds=20)
    places = [zero_at, zero_at - dt.timedelta(seconds=45.3)]
    ClockFit.objects.create(
        recording=row,
        state="not-found",
        method="none",
        reason="Two places fit about as well.",
        candidates=[
            {"zero_at": at.isoformat(), "matched": n, "of": 6, "false_match_p": 0.02}
            for at, n in zip(places, (5, 4), strict=True)
        ],
    )
    return Recording.objects.get(pk=row.pk)


def test_both_places_are_shown_with_what_speaks_for_them(torn: Recording, cast: Cast) -> None:
    told = sign_in(Client(), cast.checker).get(f"/recordings/{torn.pk}/").content.decode()
    assert "It may lie at either of these places" in told
    assert "Begins at 10:12:10" in told and "Begins at 10:11:24" in told
    assert "5 of 6 start signals fit." in told and "4 of 6 start signals fit." in told
    assert "by chance once in 50 shuffled logs" in told
    assert told.count("This one") == 2


def test_this_one_ties_its_best_start_where_its_sound_arrives(torn: Recording, cast: Cast) -> None:
    """The frame at or after the start and its sound's travel, checked against the formula."""
    key = torn.clock_fit.candidates[1]["zero_at"]
    checker = sign_in(Client(), cast.checker)
    answer = checker.post(f"/recordings/{torn.pk}/place/", {"place": key}, follow=True)
    assert "Tied to the start of" in answer.content.decode()
    tie = Tie.objects.get(recording=torn)
    assert (tie.kind, tie.found_by, tie.placed_by) == ("start-heard", "person", cast.checker)
    assert tie.swim is not None
    station, clinic = torn.station, cast.clinic
    sound_s = travel_s(
        (clinic.starter_x_m, clinic.starter_y_m, 1.5),
        (station.x_m, station.y_m, station.z_m),
        clinic.air_temperature_c,
    )
    zero_at = dt.datetime.fromisoformat(key)
    heard_s = (tie.swim.start_at - zero_at).total_seconds() + sound_s
    late_s = tie.pts_ticks / 90_000 - heard_s
    assert 0 <= late_s < 1 / 25
    # the start nearest the middle of 240 s: 65.3, 110.6 or 155.9 s under this place
    assert tie.swim == cast.swims["wren"]


def test_a_place_that_is_no_longer_offered(torn: Recording, cast: Cast) -> None:
    with pytest.raises(BadInput, match="changed meanwhile"):
        choose_place(recording=torn, key="2026-11-14T09:00:00+00:00", by=cast.checker)
    ClockFit.objects.filter(recording=torn).update(
        candidates=[{"zero_at": "2026-11-14T20:00:00+00:00"}, {"zero_at": "soon"}, {}, 7]
    )
    with pytest.raises(BadInput, match="No start of the log"):
        choose_place(recording=torn, key="2026-11-14T20:00:00+00:00", by=cast.checker)
    fit = ClockFit.objects.get(recording=torn)
    assert len(places_of(torn, fit, np.arange(10) * FRAME)) == 1, "what cannot be read is left out"
    assert sign_in(Client(), cast.checker).get(f"/recordings/{torn.pk}/").status_code == 200


# --- slow motion ------------------------------------------------------------


def test_the_page_asks_for_the_factor_that_the_fit_suggests(torn: Recording, cast: Cast) -> None:
    ClockFit.objects.filter(recording=torn).update(
        candidates=[{"zero_at": FIRST_START.isoformat(), "slow_motion": 4}]
    )
    checker, here = sign_in(Client(), cast.checker), f"/recordings/{torn.pk}/"
    told = checker.get(here).content.decode()
    assert "Was this filmed as slow motion?" in told
    assert 'value="4" checked' in told
    checker.post(f"{here}slow-motion/", {"factor": "4"})
    torn.refresh_from_db()
    assert torn.slow_motion == 4
    assert Job.objects.filter(kind="align", subject_id=cast.clinic.pk).exists()
    assert "Was this filmed as slow motion?" not in checker.get(here).content.decode()
    assert "Slow motion, 4 times" in checker.get(here).content.decode()
    checker.post(f"{here}slow-motion/", {"factor": "other", "other_factor": "5.5"})
    torn.refresh_from_db()
    assert torn.slow_motion == 5.5
    detail = AuditEntry.objects.filter(action="recording.slow-motion").latest("seq").text
    assert '"before":4' in detail.replace(" ", "") and "5.5" in detail


@pytest.mark.parametrize("factor", ["0.5", "41", "nan", "inf", "", "x", "-4"])
def test_a_factor_that_cannot_be(cast: Cast, factor: str) -> None:
    row = cast.recordings["start-side"]
    sent = {"factor": "other", "other_factor": factor}
    answer = sign_in(Client(), cast.crew).post(
        f"/recordings/{row.pk}/slow-motion/", sent, follow=True
    )
    assert answer.status_code == 200
    row.refresh_from_db()
    assert row.slow_motion == 1 and not Job.objects.filter(kind="align").exists()
    if factor in {"0.5", "41"}:
        with pytest.raises(BadInput, match="1 \\(none\\) to 40"):
            set_slow_motion(recording=row, factor=float(factor), by=None)


def test_the_same_factor_again_changes_nothing(cast: Cast) -> None:
    row = cast.recordings["start-side"]
    assert set_slow_motion(recording=row, factor=2, by=None) is True
    assert set_slow_motion(recording=row, factor=2, by=None) is False
    assert AuditEntry.objects.filter(action="recording.slow-motion").count() == 1


# --- pictures that nobody sees ------------------------------------------------------------


def test_dropped_frames_are_never_among_the_pictures(filmed: Recording, crew: Client) -> None:
    DroppedSpan.objects.create(recording=filmed, from_ticks=5 * FRAME, to_ticks=8 * FRAME)
    here = f"/recordings/{filmed.pk}"
    told = crew.get(f"{here}/frames/?from=2").json()["frames"]
    assert [one["frame"] for one in told if one.get("hidden")] == [5, 6, 7]
    assert [one["frame"] for one in told if "picture" in one] == [2, 3, 4, 8, 9, 10, 11, 12, 13]
    singly = {n: crew.get(f"{here}/frames/{n}/").status_code for n in (4, 5, 7, 8)}
    assert singly == {4: 200, 5: 404, 7: 404, 8: 200}
    page = crew.get(f"{here}/?frame=6").content.decode()
    assert "Nobody sees this frame" in page and f"{here}/frames/6/" not in page


def test_the_contact_strip_is_painted_over_there(filmed: Recording, crew: Client) -> None:
    strip = io.BytesIO()
    Image.new("RGB", (320, 90), (250, 20, 20)).save(strip, "JPEG")
    club = filmed.station.clinic.club
    filmed.contact_strip = make_stored(club, strip.getvalue(), kind="contact-strip", suffix=".jpg")
    layout = {"columns": 2, "still_width": 160, "still_height": 90, "frames": [0, 6]}
    filmed.contact_layout = layout
    filmed.save()
    whole = b"".join(crew.get(f"/recordings/{filmed.pk}/strip/"))
    assert whole == strip.getvalue()
    DroppedSpan.objects.create(recording=filmed, from_ticks=5 * FRAME, to_ticks=8 * FRAME)
    seen = Image.open(io.BytesIO(crew.get(f"/recordings/{filmed.pk}/strip/").content))
    assert seen.size == (320, 90)
    assert seen.getpixel((80, 45))[0] > 200 and seen.getpixel((240, 45))[0] < 120


def test_painting_over_leaves_nothing_of_what_was_there(tmp_path: Path) -> None:
    noise = np.random.default_rng(4).integers(0, 255, (90, 160, 3), dtype=np.uint8)
    Image.fromarray(noise).save(tmp_path / "strip.jpg", quality=95)
    made = Image.open(io.BytesIO(blanked(tmp_path / "strip.jpg", [(16, 16, 80, 64)])))
    inside = np.asarray(made)[24:56, 24:72].astype(float)
    assert inside.std(axis=(0, 1)).max() < 2
    assert np.asarray(made)[:10].std() > 20


def test_facts_that_are_missing_give_a_sentence_and_not_an_error(
    filmed: Recording, crew: Client
) -> None:
    SourceFile.objects.filter(recording=filmed).update(facts={})
    for path in ("frames/3/", "frames/?from=0"):
        answer = crew.get(f"/recordings/{filmed.pk}/{path}")
        assert answer.status_code == 422
        told = answer.content.decode()
        assert "00012.MTS" in told and "Bring the file in again" in told
    assert crew.get(f"/recordings/{filmed.pk}/").status_code == 200


def test_without_a_clock_only_a_checker_sees_where_somebody_did_not_agree(
    filmed: Recording, cast: Cast, crew: Client
) -> None:
    ClockFit.objects.filter(recording=filmed).delete()
    Consent.objects.filter(swimmer__user=cast.sol).update(ended_at=FIRST_START)
    here = f"/recordings/{filmed.pk}"
    assert crew.get(f"{here}/frames/3/").status_code == 404
    assert crew.get(f"{here}/ties/two/").status_code == 404
    told = crew.get(f"{here}/").content.decode()
    assert "only a checker of the clinic sees its pictures" in told and "/frames/" not in told
    checker = sign_in(Client(), cast.checker)
    assert checker.get(f"{here}/frames/3/").status_code == 200
