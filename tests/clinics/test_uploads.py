"""Cards: from the last byte of an upload to "safely in", and forms without script."""

from __future__ import annotations

import datetime as dt
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from clinics.actions import bring_in, read_back, upload_cards, upload_ends, uploads
from clinics.actions.upload_parts import part_path
from clinics.actions.uploads import Wanted
from clinics.models import Recording, SourceFile, Upload
from portal.actions.job_worker import drain
from portal.models import Job
from tests.cast import Cast, sign_in
from tests.media.film import make_film, split_at

pytestmark = pytest.mark.django_db(transaction=True)
SAFE = "This card is safely in"


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    video = ("-c:v", "libx264", "-preset", "ultrafast", "-g", "10")
    folder = tmp_path_factory.mktemp("card")
    path = make_film(folder / "00001.ts", count=50, fps=25, video=video, muxer=("-f", "mpegts"))
    split_at(path, (0.5,))
    return path


@pytest.fixture(autouse=True)
def empty_uploads_folder() -> None:
    for path in Path(settings.UPLOADS_DIR).glob("*"):
        path.unlink()


def send(
    cast: Cast, card: uuid.UUID, content: bytes, name: str, *, of: int, sha: str = ""
) -> Upload:
    wanted = Wanted(
        name=name, size_bytes=len(content), card=card, card_files=of, camera_name="L", sha256=sha
    )
    upload = uploads.begin(station=cast.start_side, wanted=wanted, by=cast.crew)
    given = iter([content])
    read = lambda count: next(given)[:count]  # noqa: E731
    if content:
        uploads.CHUNK_BYTES, before = len(content), uploads.CHUNK_BYTES
        uploads.append(upload=upload, offset=0, length=len(content), read=read)
        uploads.CHUNK_BYTES = before
    upload.refresh_from_db()
    return upload


def states_page(cast: Cast) -> str:
    client = sign_in(Client(), cast.crew)
    return client.get(f"/clinics/{cast.clinic.pk}/bring-in/states/").content.decode()


def parts() -> list[str]:
    return [path.name for path in Path(settings.UPLOADS_DIR).glob("*")]


def test_a_card_is_taken_in_when_its_last_file_has_come(cast: Cast, film: Path) -> None:
    card = uuid.uuid4()
    first, second = (film.with_name(f"00001_00{n}.ts") for n in (1, 2))
    send(cast, card, second.read_bytes(), second.name, of=2)
    assert not Job.objects.filter(kind="take-in").exists()
    assert "1 of 2 files are here. Keep the card." in states_page(cast)
    send(cast, card, first.read_bytes(), first.name, of=2)
    assert Job.objects.get(kind="take-in").state == "waiting"
    assert SAFE not in states_page(cast)
    drain()
    [recording] = Recording.objects.filter(camera__name="L")
    assert [row.name for row in recording.files.all()] == [first.name, second.name]
    assert recording.state == "ready", recording.reason
    assert recording.brought_in_by == cast.crew
    assert SAFE in states_page(cast)
    assert parts() == []
    assert set(Upload.objects.values_list("state", flat=True)) == {"taken"}


def test_safely_in_is_said_only_after_reading_back(
    cast: Cast, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    send(cast, uuid.uuid4(), film.read_bytes(), film.name, of=1)
    monkeypatch.setattr(read_back, "_reads_back", lambda row, report: False)
    drain()
    assert SAFE not in states_page(cast)
    assert "not in. Keep the card" in states_page(cast)
    assert Upload.objects.get().state == "refused"


def test_refused_and_known_files_say_so_and_the_rest_goes_in(cast: Cast, film: Path) -> None:
    send(cast, uuid.uuid4(), film.read_bytes(), film.name, of=1)
    drain()
    card = uuid.uuid4()
    send(cast, card, film.read_bytes(), "again.ts", of=3)
    send(cast, card, b"", "empty.ts", of=3)
    send(cast, card, b"\xff\xd8\xff\xe0\x00\x10JFIF" * 40, "<b>photo</b>.mp4", of=3)
    drain()
    page = states_page(cast)
    assert "there already" in page
    assert "2 files of this card are not in. Keep the card." in page
    assert "<b>photo" not in page
    rows = {row.name: row for row in Upload.objects.filter(card=card)}
    assert rows["again.ts"].state == "taken"
    assert rows["empty.ts"].state == rows["<b>photo</b>.mp4"].state == "refused"
    assert parts() == []
    client = sign_in(Client(), cast.crew)
    for name in ("empty.ts", "<b>photo</b>.mp4"):
        client.post(f"/uploads/{rows[name].pk}/give-up/")
    assert "without the 2 that you gave up" in states_page(cast)


def test_a_checksum_that_differs_from_the_senders_is_refused(cast: Cast, film: Path) -> None:
    upload = send(cast, uuid.uuid4(), film.read_bytes(), film.name, of=1, sha="0" * 64)
    drain()
    upload.refresh_from_db()
    assert upload.state == "refused"
    assert "checksum differs" in upload.reason
    assert not SourceFile.objects.filter(name=film.name).exists()


def test_taking_in_twice_and_after_a_crash_changes_nothing(
    cast: Cast, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The process dies after publishing, before reading back; the next try finishes it."""
    upload = send(cast, uuid.uuid4(), film.read_bytes(), film.name, of=1)
    job = Job.objects.get(kind="take-in")

    def dies(**_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(bring_in, "verify_and_ask", dies)
    with pytest.raises(KeyboardInterrupt):
        bring_in.take_in(
            station=cast.start_side,
            incoming=[bring_in.Incoming(part_path(upload), upload.name, None, upload)],
            camera_name="L",
            by=cast.crew,
            copy=False,
        )
    monkeypatch.undo()
    assert SAFE not in states_page(cast)
    for _ in range(2):
        upload_cards.take_in_card(job, lambda *_: None)
    assert SourceFile.objects.filter(name=film.name, verified_at__isnull=False).count() == 1
    assert Job.objects.filter(kind="index-recording").count() == 1
    assert SAFE not in states_page(cast)  # the job has not ended yet
    drain()
    assert SAFE in states_page(cast)
    assert parts() == []


def test_a_card_of_which_a_file_never_comes_can_be_taken_in(cast: Cast, film: Path) -> None:
    upload = send(cast, uuid.uuid4(), film.read_bytes(), film.name, of=5)
    drain()
    assert Upload.objects.get().state == "complete"
    client = sign_in(Client(), cast.crew)
    assert "Take in what is here" in states_page(cast)
    client.post(f"/uploads/{upload.pk}/take-in/")
    drain()
    assert Recording.objects.get(camera__name="L").state == "ready"
    assert SAFE not in states_page(cast)  # four files are still on it
    assert "1 of 5 files are here. Keep the card." in states_page(cast)


def test_what_is_forgotten_is_taken_in_and_not_thrown_away(cast: Cast, film: Path) -> None:
    upload = send(cast, uuid.uuid4(), film.read_bytes(), film.name, of=5)
    assert upload_ends.end_expired() == 0
    Upload.objects.update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    assert upload_ends.end_expired() == 0
    assert Job.objects.get(kind="take-in").subject_id == upload.pk
    drain()
    assert Recording.objects.get(camera__name="L").state == "ready"


def test_what_cannot_be_taken_in_for_long_ends(cast: Cast, film: Path) -> None:
    upload = send(cast, uuid.uuid4(), film.read_bytes(), film.name, of=5)
    Upload.objects.update(expires_at=timezone.now() - dt.timedelta(days=8))
    assert upload_ends.end_expired() == 1
    upload.refresh_from_db()
    assert upload.state == "refused"
    assert "Bring it in again" in upload.reason
    assert parts() == []


def test_a_file_given_up_lets_the_others_go_in(cast: Cast, film: Path) -> None:
    card = uuid.uuid4()
    send(cast, card, film.read_bytes(), film.name, of=2)
    other = uploads.begin(
        station=cast.start_side,
        wanted=Wanted("other.ts", 999, card=card, card_files=2),
        by=cast.crew,
    )
    assert not Job.objects.filter(kind="take-in").exists()
    client = sign_in(Client(), cast.crew)
    client.post(f"/uploads/{other.pk}/give-up/")
    drain()
    assert "without the 1 that you gave up" in states_page(cast)


def test_a_form_without_script_goes_in_too(cast: Cast, film: Path) -> None:
    client = sign_in(Client(enforce_csrf_checks=True), cast.crew)
    page = client.get(f"/clinics/{cast.clinic.pk}/bring-in/").content.decode()
    token = page.split('name="csrfmiddlewaretoken" value="')[1].split('"')[0]
    url = f"/stations/{cast.start_side.pk}/upload-form/"
    file = SimpleUploadedFile("../../00001.ts", film.read_bytes())
    refused = client.post(url, {"files": file, "camera": "Form"})
    assert refused.status_code == 403
    assert parts() == []
    file.seek(0)
    sent = {"csrfmiddlewaretoken": token, "files": file, "camera": "Form"}
    assert client.post(url, sent).status_code == 302
    drain()
    recording = Recording.objects.get(camera__name="Form")
    assert recording.state == "ready"
    assert recording.files.get().name == "00001.ts"
    assert SAFE in states_page(cast)
    assert parts() == []


def test_the_form_is_closed_to_who_does_not_work_there(cast: Cast, settings: Any) -> None:
    url = f"/stations/{cast.start_side.pk}/upload-form/"
    for who in ("swimmer", "coach", "club admin", "admin of another club"):
        client = sign_in(Client(), cast.people()[who])
        sent = {"files": SimpleUploadedFile("x.mp4", b"x")}
        assert client.post(url, sent).status_code == 404
        assert client.get(f"/clinics/{cast.clinic.pk}/bring-in/").status_code == 404
        assert client.get(f"/stations/{cast.start_side.pk}/uploads/").status_code == 404
    assert parts() == []
    settings.CLUB_QUOTA_BYTES = 10
    crew = sign_in(Client(), cast.crew)
    response = crew.post(url, {"files": SimpleUploadedFile("x.mp4", b"x")}, follow=True)
    assert "space for recordings is used up" in response.content.decode()
    assert parts() == []


def test_what_was_sent_before_is_told_to_its_owner_only(cast: Cast, film: Path) -> None:
    upload = uploads.begin(station=cast.start_side, wanted=Wanted("half.ts", 999), by=cast.crew)
    url = f"/stations/{cast.start_side.pk}/uploads/"
    [told] = sign_in(Client(), cast.crew).get(url).json()["uploads"]
    assert (told["id"], told["state"], told["url"]) == (
        str(upload.pk),
        "open",
        f"/uploads/{upload.pk}/",
    )
    assert sign_in(Client(), cast.checker).get(url).json() == {"uploads": []}
