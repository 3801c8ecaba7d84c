"""`bring_in` from the command line."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from clinics.models import Clinic, Recording
from tests.cast import Cast
from tests.media.film import make_film

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("cli") / "A.MP4"
    video = ("-c:v", "libx264", "-preset", "ultrafast", "-g", "10")
    return make_film(path, count=30, fps=25, video=video)


def told(*args: object, **options: object) -> list[dict[str, str]]:
    out = io.StringIO()
    call_command("bring_in", *map(str, args), json=True, stdout=out, **options)
    return json.loads(out.getvalue())["files"]


def test_waits_until_recordings_are_ready(cast: Cast, film: Path) -> None:
    [line] = told("harbour-autumn", "start-side", film, camera="Tripod", wait=True)
    assert line["state"] == "ready"
    recording = Recording.objects.get(pk=line["recording"])
    assert (recording.state, recording.camera.name) == ("ready", "Tripod")
    [again] = told("harbour-autumn", "start-side", film, camera="Tripod", wait=True)
    assert (again["state"], again["recording"]) == ("already", line["recording"])


def test_names_each_refused_file_and_fails(cast: Cast, film: Path, tmp_path: Path) -> None:
    bad = tmp_path / "empty.mp4"
    bad.touch()
    missing = tmp_path / "nowhere.mp4"
    with pytest.raises(CommandError) as failure:
        told("harbour-autumn", "start-side", bad, missing, film)
    assert str(bad) in str(failure.value)
    assert str(missing) in str(failure.value)
    assert str(film) not in str(failure.value)
    assert Recording.objects.filter(files__name="A.MP4").exists()


def test_unknown_clinic_station_or_person_say_what_there_is(cast: Cast, film: Path) -> None:
    with pytest.raises(CommandError, match="harbour-autumn"):
        told("nowhere", "start-side", film)
    with pytest.raises(CommandError, match="underwater"):
        told("harbour-autumn", "balcony", film)
    with pytest.raises(CommandError, match=r"nobody@example\.org"):
        told("harbour-autumn", "start-side", film, by="nobody@example.org")
    Clinic.objects.filter(slug="harbour-autumn").update(
        state="closed", closed_at="2026-12-01T00:00Z"
    )
    with pytest.raises(CommandError, match="closed"):
        told("harbour-autumn", "start-side", film)
