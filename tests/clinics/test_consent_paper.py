"""Sheets signed on paper: what they say, and their picture."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from clinics.actions.consent import end_consent
from clinics.models import Consent, Purpose, Swimmer
from portal.models import StoredFile
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import FILM, GROUP, in_force, newcomer, next_version, with_texts


def photo(form: str = "JPEG", **more: Any) -> bytes:
    """A sheet as a phone takes it: lying on its side, with the place in its data."""
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned by a quarter
    exif[0x010F] = "PhoneMaker-of-the-sheet"
    exif.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (240, 240, 235)).save(out, form, exif=exif, **more)
    return out.getvalue()


def paper(cast: Cast, swimmer: Swimmer) -> str:
    return reverse("clinics:consent-paper", args=[cast.clinic.pk, swimmer.entries.get().pk])


def told(content: bytes | None = None, at: dt.datetime | None = None, **says: str) -> Any:
    signed = timezone.localtime(at or timezone.now() - dt.timedelta(minutes=2), dt.UTC)
    zoned = signed.astimezone(dt.UTC)  # Dublin in November keeps UTC
    purposes = Purpose.values
    sheet = SimpleUploadedFile("IMG_1.jpg", photo() if content is None else content, "image/jpeg")
    said = {f"version-{purpose}": 1 for purpose in purposes} | {
        purpose: says.get(purpose.replace("-", "_"), "") for purpose in purposes
    }
    return said | {
        "signed_at": zoned.strftime("%Y-%m-%dT%H:%M"),
        "language": "en",
        "sheet": sheet,
        "adult": "on",
    }


@pytest.fixture
def bela(cast: Cast) -> Swimmer:
    return newcomer(with_texts(cast))


def test_a_sheet_is_recorded_with_its_picture(cast: Cast, bela: Swimmer) -> None:
    client = sign_in(Client(), cast.admin)
    answer = client.post(paper(cast, bela), told(film_and_review="yes", show_to_group="no"))
    assert answer.status_code == 303
    assert in_force(bela) == {FILM}
    rows = Consent.objects.filter(swimmer=bela)
    assert {row.purpose for row in rows} == {FILM, GROUP}  # what it does not say is not recorded
    kept = rows.get(purpose=FILM)
    assert kept.method == "paper" and kept.recorded_by == cast.admin and kept.sheet is not None
    body = b"".join(client.get(reverse("clinics:consent-sheet", args=[kept.pk])))
    with Image.open(io.BytesIO(body)) as image:
        assert (image.format, image.size) == ("JPEG", (480, 640))  # upright
        assert not image.getexif()
    assert b"PhoneMaker" not in body


def test_only_admins_and_the_swimmer_see_the_sheet(cast: Cast, bela: Swimmer) -> None:
    sign_in(Client(), cast.admin).post(paper(cast, bela), told(film_and_review="yes"))
    Swimmer.objects.filter(pk=bela.pk).update(user=cast.wren)
    where = reverse("clinics:consent-sheet", args=[Consent.objects.get(swimmer=bela).pk])
    seen = {
        name: sign_in(Client(), user).get(where).status_code
        for name, user in cast.people().items()
        if user is not None
    }
    assert {name for name, status in seen.items() if status == 200} == {
        "another swimmer",  # whose sheet it is
        "club admin",
    }


@pytest.mark.parametrize(
    "content",
    [b"%PDF-1.4 no picture", b"#EXTM3U\nfile:///etc/passwd", photo("TIFF"), photo()[:2000]],
    ids=["a PDF", "a playlist", "a format that is not taken", "cut short"],
)
def test_what_is_no_picture_is_refused_and_nothing_is_kept(
    cast: Cast, bela: Swimmer, content: bytes
) -> None:
    files = StoredFile.objects.count()
    client = sign_in(Client(), cast.admin)
    answer = client.post(paper(cast, bela), told(content, film_and_review="yes"))
    assert answer.status_code == 422 and "cannot be read" in answer.content.decode()
    assert in_force(bela) == set() and StoredFile.objects.count() == files


def test_a_picture_of_too_many_pixels_is_refused_before_it_is_decoded(
    cast: Cast, bela: Swimmer
) -> None:
    out = io.BytesIO()
    Image.new("1", (9000, 9000)).save(out, "PNG")
    client = sign_in(Client(), cast.admin)
    answer = client.post(paper(cast, bela), told(out.getvalue(), film_and_review="yes"))
    assert answer.status_code == 422 and in_force(bela) == set()


def test_a_refused_answer_leaves_no_picture_behind(cast: Cast, bela: Swimmer) -> None:
    Swimmer.objects.filter(pk=bela.pk).update(adult_attested_at=None)
    files = StoredFile.objects.count()
    said = told(film_and_review="yes")
    del said["adult"]
    answer = sign_in(Client(), cast.admin).post(paper(cast, bela), said)
    assert answer.status_code == 422 and "18 or older" in answer.content.decode()
    assert StoredFile.objects.count() == files and in_force(bela) == set()


def test_an_old_sheet_does_not_undo_a_later_withdrawal(cast: Cast) -> None:
    tomas = cast.swims["tomas"].entry.swimmer
    with_texts(cast)
    end_consent(swimmer=tomas, purpose=FILM, by=cast.tomas)
    at = timezone.now() - dt.timedelta(days=1)
    sign_in(Client(), cast.admin).post(paper(cast, tomas), told(at=at, film_and_review="yes"))
    assert in_force(tomas) == set()
    assert Consent.objects.filter(swimmer=tomas, method="paper").count() == 1


def test_the_version_on_the_sheet_is_the_one_recorded(cast: Cast, bela: Swimmer) -> None:
    next_version(cast)
    sign_in(Client(), cast.admin).post(paper(cast, bela), told(film_and_review="yes"))
    kept = Consent.objects.get(swimmer=bela)
    assert kept.text is not None and kept.text.version == 1


def test_recording_a_sheet_asks_for_a_fresh_sign_in(cast: Cast, bela: Swimmer) -> None:
    """Before the picture is chosen: it could not be kept over the sign-in."""
    client = sign_in(Client(), cast.admin, fresh=False)
    assert client.get(paper(cast, bela)).status_code == 303
    client.post(paper(cast, bela), told(film_and_review="yes"))
    assert in_force(bela) == set()


def test_the_sheet_to_sign_is_a_pdf(cast: Cast, bela: Swimmer) -> None:
    client = sign_in(Client(), cast.admin)
    answer = client.get(reverse("clinics:consent-blank", args=[cast.clinic.pk]))
    assert answer["Content-Type"] == "application/pdf" and answer.content.startswith(b"%PDF-")
