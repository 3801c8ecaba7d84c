"""A recording's page: exact pictures, ties by hand on exactly the frame that was shown.

Which picture is shown is read from the picture itself: each carries its painted number.
"""

from __future__ import annotations

import base64
import io
import uuid
from pathlib import Path

import numpy as np
import pytest
from django.test import Client
from PIL import Image

from clinics.actions.bring_in import take_in_files
from clinics.actions.index import frames_of
from clinics.management.demo.painted import read
from clinics.models import ClockFit, Consent, Recording, Tie
from clinics.views import recording_frames as views
from portal.actions.job_worker import drain
from portal.models import Job
from tests.cast import Cast, sign_in
from tests.media.film import make_film, number_of

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("film") / "CLIP0001.MP4"
    video = ("-c:v", "libx264", "-preset", "ultrafast", "-crf", "18", "-g", "25", "-bf", "2")
    return make_film(path, count=100, fps=25, video=video, sound=("-c:a", "aac"))


@pytest.fixture
def filmed(cast: Cast, film: Path) -> Recording:
    [recording] = take_in_files(
        station=cast.start_side,
        paths_with_names=[(film, film.name)],
        camera_name="Right",
        by=cast.crew,
    )
    drain()
    recording.refresh_from_db()
    assert recording.state == "ready", recording.reason
    # Everybody agrees: who withdrew would hide pictures of a recording without a clock.
    Consent.objects.filter(swimmer__user=cast.sol).update(ended_at=None)
    return recording


@pytest.fixture
def crew(cast: Cast) -> Client:
    return sign_in(Client(), cast.crew)


def number_in(jpeg: bytes) -> int | None:
    return number_of(read(np.asarray(Image.open(io.BytesIO(jpeg)).convert("L"))))


def test_each_still_is_exactly_its_frame(crew: Client, filmed: Recording) -> None:
    for number in (0, 1, 24, 25, 26, 99):
        response = crew.get(f"/recordings/{filmed.pk}/frames/{number}/")
        assert response["Content-Type"] == "image/jpeg"
        assert "no-store" in response["Cache-Control"]
        assert number_in(response.content) == number
    assert crew.get(f"/recordings/{filmed.pk}/frames/100/").status_code == 404


def test_a_run_of_frames_carries_numbers_and_times(crew: Client, filmed: Recording) -> None:
    told = crew.get(f"/recordings/{filmed.pk}/frames/?from=94").json()["frames"]
    assert [one["frame"] for one in told] == [94, 95, 96, 97, 98, 99]
    table = frames_of(filmed)
    for one in told:
        picture = base64.b64decode(one["picture"].split(",")[1])
        assert number_in(picture) == one["frame"]
        assert one["media_s"] == table[one["frame"]] / 90_000
    assert told[0]["clock"] == "0:03.760"


def test_the_page_works_without_script(crew: Client, filmed: Recording, cast: Cast) -> None:
    page = crew.get(f"/recordings/{filmed.pk}/?frame=40").content.decode()
    assert f"/recordings/{filmed.pk}/frames/40/" in page
    for step in (39, 41, 30, 50, 0, 99):  # 1, 10 and 100 frames either way, kept inside
        assert f"?frame={step}" in page
    assert "0:01.600" in page
    assert "CLIP0001.MP4" in page
    assert "read back, as it arrived" in page
    assert page.count("<area ") == len(filmed.contact_layout["frames"])
    assert crew.get(f"/recordings/{filmed.pk}/strip/")["Content-Type"] == "image/jpeg"
    for odd in ("frame=-5", "frame=x", "frame=99999", "swim=x", f"swim={uuid.uuid4()}", "step=-3"):
        assert crew.get(f"/recordings/{filmed.pk}/?{odd}").status_code == 200


def test_a_tie_stands_at_exactly_the_frame_and_fits_the_clock(
    crew: Client, filmed: Recording, cast: Cast
) -> None:
    swim = cast.swims["tomas"]
    sent = {"frame": "30", "swim": str(swim.pk), "kind": "start-seen"}
    response = crew.post(f"/recordings/{filmed.pk}/ties/", sent, follow=True)
    assert "starts at this frame" in response.content.decode()
    tie = Tie.objects.get(recording=filmed)
    assert (tie.pts_ticks, tie.swim, tie.placed_by) == (30 * 3600, swim, cast.crew)
    fit = ClockFit.objects.get(recording=filmed)
    # Invariant 6: the event stands half a frame interval before "first frame at or after".
    start_s = (swim.start_at - fit.zero_at).total_seconds()
    assert start_s == pytest.approx(30 / 25 - 0.5 / 25, abs=0.02)
    assert Job.objects.filter(kind="align", subject_id=cast.clinic.pk).exists()
    expected = crew.get(f"/recordings/{filmed.pk}/?swim={swim.pk}").content.decode()
    assert f"/recordings/{filmed.pk}/frames/30/" in expected
    assert "Show the fit" in expected
    crew.post(f"/ties/{tie.pk}/remove/")
    assert not Tie.objects.filter(recording=filmed).exists()


def test_a_tie_needs_a_frame_and_a_start_of_this_clinic(
    crew: Client, filmed: Recording, cast: Cast
) -> None:
    own, other = cast.swims["tomas"], cast.swims["other"]
    for sent in (
        {"frame": "100", "swim": own.pk, "kind": "start-seen"},
        {"frame": "-1", "swim": own.pk, "kind": "start-seen"},
        {"frame": "", "swim": own.pk, "kind": "start-seen"},
        {"frame": "3", "swim": other.pk, "kind": "start-seen"},
        {"frame": "3", "swim": own.pk, "kind": "instant"},
    ):
        response = crew.post(f"/recordings/{filmed.pk}/ties/", sent, follow=True)
        assert "Choose a frame and whose start it shows." in response.content.decode()
    assert not Tie.objects.exists()


def test_only_who_handles_the_recording_sees_it(filmed: Recording, cast: Cast) -> None:
    tie = Tie.objects.create(
        recording=filmed, kind="start-seen", pts_ticks=0, swim=cast.swims["tomas"], u_ms=20
    )
    never = uuid.uuid4()
    for who, person in cast.people().items():
        client = sign_in(Client(), person)
        allowed = who in {"crew", "checker"}
        for path in ("", "frames/", "frames/3/", "strip/"):
            response = client.get(f"/recordings/{filmed.pk}/{path}")
            if allowed:
                assert response.status_code == 200, (who, path)
            elif person is not None:
                same = client.get(f"/recordings/{never}/{path}")
                assert response.status_code == same.status_code == 404, (who, path)
                assert response.content == same.content
            else:
                assert response.status_code == 401
        if not allowed:
            status = 401 if person is None else 404
            assert client.post(f"/recordings/{filmed.pk}/ties/").status_code == status
            assert client.post(f"/ties/{tie.pk}/remove/").status_code == status
    assert Tie.objects.filter(pk=tie.pk).exists()


def test_too_many_pictures_wait(
    crew: Client, filmed: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(views, "DECODE_WAIT_S", 0.01)
    with views.DECODES_AT_ONCE, views.DECODES_AT_ONCE:
        busy = crew.get(f"/recordings/{filmed.pk}/frames/3/")
    assert (busy.status_code, busy["Retry-After"]) == (503, "2")
    monkeypatch.setattr(views, "STILLS_AT_MOST", 2)
    statuses = [crew.get(f"/recordings/{filmed.pk}/frames/3/").status_code for _ in range(2)]
    assert statuses == [200, 429]


def test_a_deleted_original_says_so(crew: Client, filmed: Recording) -> None:
    from portal.actions import files

    files.remove(file=filmed.files.get().stored)
    response = crew.get(f"/recordings/{filmed.pk}/frames/3/")
    assert response.status_code == 410
    assert "deleted" in response.content.decode()
    assert crew.get(f"/recordings/{filmed.pk}/").status_code == 200
