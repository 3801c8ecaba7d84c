"""What is covered at a station is covered in every picture of its recordings that is shown:
single frames, runs of them, the number card's picture, the contact strip."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse
from PIL import Image

from clinics.actions.masks import cover_station
from clinics.models import Recording
from tests.cast import Cast, sign_in
from tests.clinics.mask_site import AREA, Luma, film_clinic, make_pattern_film, shows_pattern

RING_PX = 4


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_pattern_film(tmp_path_factory.mktemp("masks") / "00012.mp4")


@pytest.fixture
def checker(cast: Cast, film: Path) -> Client:
    film_clinic(cast, film)
    return sign_in(Client(), cast.checker)


def luma(jpeg: bytes) -> Luma:
    return np.asarray(Image.open(io.BytesIO(jpeg)).convert("L"))


def body(answer: object) -> bytes:
    assert answer.status_code == 200  # type: ignore[attr-defined]
    return b"".join(answer) if answer.streaming else answer.content  # type: ignore


def pictures(client: Client, cast: Cast) -> dict[str, Luma]:
    """Every kind of picture of the recording that there is."""
    row = Recording.objects.get(station__clinic=cast.clinic)
    frame = client.get(reverse("clinics:recording-frame", args=[row.pk, 40]))
    run = client.get(reverse("clinics:recording-frames", args=[row.pk]), {"from": 40}).json()
    coded = run["frames"][-1]["picture"].partition(",")[2]
    card = client.get(reverse("clinics:check-card", args=[cast.swims["tomas"].pk]), {"before": 1})
    found = {
        "frame": luma(body(frame)),
        "last of a run": luma(base64.b64decode(coded)),
        "card": luma(body(card)),
    }
    strip = luma(body(client.get(reverse("clinics:recording-strip", args=[row.pk]))))
    layout = row.contact_layout
    wide, high = layout["still_width"], layout["still_height"]
    for n in range(len(layout["frames"])):
        left, top = n % layout["columns"] * wide, n // layout["columns"] * high
        found[f"still {n}"] = strip[top : top + high, left : left + wide]
    return found


def is_flat(picture: Luma) -> bool:
    """One colour over the whole area; the strip's is not black (clinics/media/contact.py). Not
    counting the outermost pixels, into which a JPEG's blocks ring from what lies outside."""
    height, width = picture.shape
    rows = slice(int(AREA.top * height) + RING_PX, int((AREA.top + AREA.height) * height) - RING_PX)
    left, right = int(AREA.left * width), int((AREA.left + AREA.width) * width)
    inside = picture[rows, left + RING_PX : right - RING_PX]
    return bool(np.ptp(inside.astype(int)) < 25)


def test_no_picture_of_a_recording_shows_what_is_covered(cast: Cast, checker: Client) -> None:
    before = pictures(checker, cast)
    assert len(before) > 4
    assert all(shows_pattern(picture) and not is_flat(picture) for picture in before.values())
    cover_station(station=cast.start_side, area=AREA, by=cast.admin)
    after = pictures(checker, cast)
    assert [name for name, picture in after.items() if not is_flat(picture)] == []
    assert after.keys() == before.keys()
