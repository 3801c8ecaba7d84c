"""tus 1.0.0 against its text (https://tus.io/protocols/resumable-upload, core protocol,
creation, termination, expiration)."""

from __future__ import annotations

import base64
import datetime as dt
import errno
import hashlib
import os
import threading
import uuid
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connections
from django.http import HttpResponse
from django.test import Client
from django.utils import timezone

from clinics.actions import upload_ends, uploads
from clinics.actions.upload_parts import Busy
from clinics.models import Clinic, Upload
from portal.models import Membership
from tests.cast import Cast, sign_in

pytestmark = pytest.mark.django_db
V = {"HTTP_TUS_RESUMABLE": "1.0.0"}
BYTES = "application/offset+octet-stream"


def metadata(**said: str) -> str:
    return ",".join(
        f"{key} {base64.b64encode(text.encode()).decode()}" for key, text in said.items()
    )


def create(client: Client, cast: Cast, size: int, **said: str) -> HttpResponse:
    said = {"filename": "00012.MTS", "station": str(cast.start_side.pk)} | said
    return client.post(
        "/uploads/",
        content_type="application/octet-stream",
        HTTP_UPLOAD_LENGTH=str(size),
        HTTP_UPLOAD_METADATA=metadata(**said),
        **V,
    )


def path_of(response: HttpResponse) -> str:
    return response["Location"].removeprefix("http://testserver")


def patch(client: Client, url: str, offset: int, content: bytes) -> HttpResponse:
    said = V | {"HTTP_UPLOAD_OFFSET": str(offset), "CONTENT_LENGTH": str(len(content))}
    return client.patch(url, content, content_type=BYTES, **(said | {"CONTENT_TYPE": BYTES}))


def part_of(url: str) -> Path:
    return Path(settings.UPLOADS_DIR) / f"{url.strip('/').split('/')[-1]}.part"


@pytest.fixture
def crew(cast: Cast) -> Client:
    return sign_in(Client(), cast.crew)


def test_options_says_what_the_server_speaks(crew: Client) -> None:
    response = crew.options("/uploads/")  # without Tus-Resumable, as the protocol allows
    assert response.status_code == 204
    assert response["Tus-Version"] == "1.0.0"
    assert response["Tus-Extension"] == "creation,termination,expiration"
    assert response["Tus-Max-Size"] == str(settings.UPLOAD_MAX_BYTES)


def test_an_upload_goes_in_in_pieces(crew: Client, cast: Cast) -> None:
    made = create(crew, cast, 11)
    assert made.status_code == 201
    assert made["Tus-Resumable"] == "1.0.0"
    assert parsedate_to_datetime(made["Upload-Expires"]) > timezone.now() + dt.timedelta(days=6)
    url = path_of(made)
    assert crew.head(url, **V)["Upload-Offset"] == "0"
    first = patch(crew, url, 0, b"hello ")
    assert (first.status_code, first["Upload-Offset"]) == (204, "6")
    assert "Upload-Expires" in first
    head = crew.head(url, **V)
    assert (head["Upload-Offset"], head["Upload-Length"]) == ("6", "11")
    assert head["Cache-Control"] == "no-store"
    assert head["Upload-Metadata"] == metadata(
        filename="00012.MTS", station=str(cast.start_side.pk)
    )
    assert patch(crew, url, 6, b"world").status_code == 204
    assert Upload.objects.get().state == "complete"
    assert part_of(url).read_bytes() == b"hello world"
    assert patch(crew, url, 11, b"").status_code == 204  # asked again after the end: nothing new


def test_a_size_that_ends_on_a_recorded_step_completes(
    crew: Client, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "CHUNK_BYTES", 5)
    monkeypatch.setattr(uploads, "RECORD_EVERY_BYTES", 10)
    url = path_of(create(crew, cast, 30))
    assert patch(crew, url, 0, b"0123456789" * 3).status_code == 204
    assert Upload.objects.get().state == "complete"


def test_wrong_offset_is_409_and_changes_nothing(crew: Client, cast: Cast) -> None:
    url = path_of(create(crew, cast, 10))
    patch(crew, url, 0, b"12345")
    for offset in (0, 4, 6, 10):
        assert patch(crew, url, offset, b"xxxxx"[: 10 - offset]).status_code == 409
    assert part_of(url).read_bytes() == b"12345"
    assert crew.head(url, **V)["Upload-Offset"] == "5"


def test_wrong_type_version_and_length_are_refused(crew: Client, cast: Cast) -> None:
    url = path_of(create(crew, cast, 10))
    offset = {"HTTP_UPLOAD_OFFSET": "0"}
    plain = crew.patch(url, b"12345", content_type="application/octet-stream", **V, **offset)
    assert plain.status_code == 415
    for version in ({}, {"HTTP_TUS_RESUMABLE": "0.2.2"}):
        old = crew.patch(url, b"12345", content_type=BYTES, **offset, **version)
        assert (old.status_code, old["Tus-Version"]) == (412, "1.0.0")
        assert crew.head(url, **version).status_code == 412
    assert patch(crew, url, 0, b"12345678901").status_code == 413
    assert crew.patch(url, b"1", content_type=BYTES, **V).status_code == 400
    for length in ("-1", "ten", "١"):
        odd = crew.post("/uploads/", HTTP_UPLOAD_LENGTH=length.encode().decode("latin-1"), **V)
        assert odd.status_code == 400
    assert part_of(url).read_bytes() == b""


def test_over_the_maximum_is_413_and_leaves_nothing(
    crew: Client, cast: Cast, settings: Any
) -> None:
    settings.UPLOAD_MAX_BYTES = 1000
    assert create(crew, cast, 1001).status_code == 413
    assert not Upload.objects.exists()


def test_method_override_is_heeded(crew: Client, cast: Cast) -> None:
    url = path_of(create(crew, cast, 5))
    override = {"HTTP_X_HTTP_METHOD_OVERRIDE": "PATCH", "HTTP_UPLOAD_OFFSET": "0"}
    response = crew.post(url, b"12345", content_type=BYTES, **V, **override)
    assert (response.status_code, response["Upload-Offset"]) == (204, "5")


def test_termination_then_410(crew: Client, cast: Cast) -> None:
    url = path_of(create(crew, cast, 10))
    patch(crew, url, 0, b"12345")
    assert crew.delete(url, **V).status_code == 204
    assert not part_of(url).exists()
    assert crew.head(url, **V).status_code == 410
    assert patch(crew, url, 5, b"12345").status_code == 410


def test_expired_is_410_and_the_sweep_deletes_it(crew: Client, cast: Cast) -> None:
    url = path_of(create(crew, cast, 10))
    Upload.objects.update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    assert crew.head(url, **V).status_code == 410
    assert patch(crew, url, 0, b"12345").status_code == 410
    assert upload_ends.end_expired() == 1
    assert not part_of(url).exists()
    assert Upload.objects.get().state == "ended"


def test_the_sweep_removes_only_strays(crew: Client, cast: Cast) -> None:
    url = path_of(create(crew, cast, 10))
    stray = Path(settings.UPLOADS_DIR) / f"{uuid.uuid4()}.form"
    stray.write_bytes(b"left behind")
    for path in (stray, part_of(url)):
        os.utime(path, (0, 0))
    assert upload_ends.end_expired() == 1
    assert not stray.exists()
    assert part_of(url).exists()


def test_someone_elses_upload_is_as_one_that_never_was(crew: Client, cast: Cast) -> None:
    url = path_of(create(crew, cast, 10))
    random = f"/uploads/{uuid.uuid4()}/"
    for who, person in cast.people().items():
        if person == cast.crew or person is None:
            continue
        client = sign_in(Client(), person)
        for ask in (
            lambda at, c=client: c.head(at, **V),
            lambda at, c=client: patch(c, at, 0, b"12345"),
            lambda at, c=client: c.delete(at, **V),
            lambda at, c=client: c.get(at, **V),
        ):
            theirs, never = ask(url), ask(random)
            assert theirs.status_code == never.status_code == 404, who
            assert theirs.content == never.content, who
    assert part_of(url).read_bytes() == b""


@pytest.mark.parametrize(
    ("who", "status"),
    [
        ("crew", 201),
        ("checker", 201),
        ("swimmer", 404),
        ("coach", 404),
        ("club admin", 404),
        ("coach of another club", 404),
        ("admin of another club", 404),
        ("nobody signed in", 401),
    ],
)
def test_only_who_works_at_the_clinic_may_create(cast: Cast, who: str, status: int) -> None:
    client = sign_in(Client(), cast.people()[who])
    assert create(client, cast, 10).status_code == status
    assert create(client, cast, 10, station=str(uuid.uuid4())).status_code in {404, 401}


def test_work_that_ends_ends_uploading(crew: Client, cast: Cast) -> None:
    url = path_of(create(crew, cast, 10))
    Membership.objects.filter(user=cast.crew).update(until_date=dt.date(2026, 10, 2))
    assert patch(crew, url, 0, b"12345").status_code == 404
    Membership.objects.filter(user=cast.crew).update(until_date=None)
    assert patch(crew, url, 0, b"12345").status_code == 204
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    assert patch(crew, url, 5, b"12345").status_code == 404
    assert create(crew, cast, 10).status_code == 404


def test_the_csrf_token_is_asked_for(cast: Cast) -> None:
    strict = sign_in(Client(enforce_csrf_checks=True), cast.crew)
    assert create(strict, cast, 10).status_code == 403
    token = "a" * 32
    strict.cookies[settings.CSRF_COOKIE_NAME] = token
    strict.defaults["HTTP_X_CSRFTOKEN"] = token
    made = create(strict, cast, 10)
    assert made.status_code == 201
    assert patch(strict, path_of(made), 0, b"12345").status_code == 204


def test_quota_is_checked_at_creation_and_at_each_patch(
    crew: Client, cast: Cast, settings: Any
) -> None:
    url = path_of(create(crew, cast, 1000))
    settings.CLUB_QUOTA_BYTES = 900
    assert create(crew, cast, 10).status_code == 507
    assert patch(crew, url, 0, b"12345").status_code == 507
    assert part_of(url).read_bytes() == b""
    settings.CLUB_QUOTA_BYTES = 10**9
    assert patch(crew, url, 0, b"12345").status_code == 204


def test_free_space_is_checked_at_creation_and_at_each_patch(
    crew: Client, cast: Cast, settings: Any
) -> None:
    url = path_of(create(crew, cast, 1000))
    settings.FREE_SPACE_RESERVE_BYTES = 1 << 60
    assert create(crew, cast, 10).status_code == 507
    assert patch(crew, url, 0, b"12345").status_code == 507
    assert crew.delete(url, **V).status_code == 204  # deleting still works


def test_a_disk_that_fills_up_meanwhile_is_507_and_loses_nothing(
    crew: Client, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = path_of(create(crew, cast, 2_000_000))
    patch(crew, url, 0, b"a" * 300_000)
    real = os.write
    written = []

    def full(handle: int, content: Any) -> int:
        if sum(written) > 500_000:
            raise OSError(errno.ENOSPC, "No space left on device")
        written.append(real(handle, bytes(content)[:100_000]))  # a short write, as disks do
        return written[-1]

    monkeypatch.setattr(os, "write", full)
    assert patch(crew, url, 300_000, b"b" * 1_700_000).status_code == 507
    monkeypatch.undo()
    assert sum(written) > 500_000
    assert crew.head(url, **V)["Upload-Offset"] == "300000"
    assert part_of(url).read_bytes() == b"a" * 300_000
    assert patch(crew, url, 300_000, b"b" * 1_700_000)["Upload-Offset"] == "2000000"


def test_bytes_beyond_what_was_recorded_are_cut_back(crew: Client, cast: Cast) -> None:
    """The process died after writing and before the row said so: those bytes may be half."""
    url = path_of(create(crew, cast, 10))
    patch(crew, url, 0, b"123")
    with part_of(url).open("ab") as part:
        part.write(b"?????")
    assert crew.head(url, **V)["Upload-Offset"] == "3"
    assert part_of(url).read_bytes() == b"123"
    with part_of(url).open("ab") as part:
        part.write(b"?????")
    assert patch(crew, url, 3, b"4567890").status_code == 204
    assert part_of(url).read_bytes() == b"1234567890"


def test_a_part_file_that_is_lost_begins_again(crew: Client, cast: Cast) -> None:
    url = path_of(create(crew, cast, 10))
    patch(crew, url, 0, b"12345")
    part_of(url).unlink()
    assert crew.head(url, **V)["Upload-Offset"] == "0"
    assert patch(crew, url, 0, b"1234567890").status_code == 204


ODD_NAMES = [
    "../../x",
    "/etc/passwd",
    "a\0b.mp4",
    "\N{RIGHT-TO-LEFT OVERRIDE}4pm.exe",
    "-i",
    "concat:a|b",
    "<img src=x onerror=alert(1)>.mp4",
    "x" * 300,
    "x" * 900,
]


def test_odd_names_are_text_only(crew: Client, cast: Cast) -> None:
    before = {path for path in Path(settings.DATA_DIR).rglob("*") if path.is_file()}
    parts = set()
    for name in ODD_NAMES:
        url = path_of(create(crew, cast, 10, filename=name))
        patch(crew, url, 0, b"12345")
        parts.add(part_of(url).name)
        row = Upload.objects.get(pk=url.rstrip("/").rsplit("/", 1)[-1])
        assert row.name == name.replace("\0", "\N{SYMBOL FOR NULL}")[:300]
        page = crew.get(f"/clinics/{cast.clinic.pk}/bring-in/").content.decode()
        assert "<img src=x" not in page
        begins = row.name[:2].replace("<", "&lt;")
        assert f"<bdi>{begins}" in page  # a mark in it turns nothing else
    after = {path for path in Path(settings.DATA_DIR).rglob("*") if path.is_file()}
    assert {path.name for path in after - before} <= {*parts, ".sidelane"}


@pytest.mark.django_db(transaction=True)
def test_of_two_parallel_patches_one_wins(cast: Cast) -> None:
    size = 3_000_000
    url = path_of(create(sign_in(Client(), cast.crew), cast, size))
    both_here = threading.Barrier(2, timeout=20)
    statuses: dict[str, int] = {}

    def send(letter: str) -> None:
        """The first piece is given out only once the other has been turned away."""
        upload = Upload.objects.select_related("station__clinic__club").get()
        content = letter.encode() * size
        given = [0]

        def read(count: int) -> bytes:
            if given[0] == 0:
                started.wait(timeout=20)
            piece = content[given[0] : given[0] + count]
            given[0] += len(piece)
            return piece

        try:
            both_here.wait()
            uploads.append(upload=upload, offset=0, length=size, read=read)
            statuses[letter] = 204
        except Busy:
            statuses[letter] = 423
            started.set()
        except uploads.WrongOffset:
            statuses[letter] = 409
        finally:
            connections.close_all()

    started = threading.Event()
    threads = [threading.Thread(target=send, args=(letter,)) for letter in "ab"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert sorted(statuses.values()) == [204, 423]
    winner = next(letter for letter, status in statuses.items() if status == 204)
    assert (
        hashlib.sha256(part_of(url).read_bytes()).digest()
        == hashlib.sha256(winner.encode() * size).digest()
    )
