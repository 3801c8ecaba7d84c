"""Role × URL × owner: no URL is left out, and nothing is reached beside them.

`test_matrix_clinics.py` and `test_matrix_feedback.py` walk them.
"""

from __future__ import annotations

import base64
import uuid
from collections.abc import Callable, Iterator

import pytest
from django.db import transaction
from django.test import Client
from django.urls import NoReverseMatch, URLPattern, URLResolver, get_resolver, reverse

from clinics.models import Clip
from tests import test_matrix_clinics, test_matrix_feedback
from tests.cast import Cast, sign_in
from tests.matrix.walk import ask, cast_by_letter
from tests.matrix.whole import AREAS, MATRIX, Things


def test_a_byte_range_of_a_clip_is_a_part_of_it(cast: Cast) -> None:
    """So that RANGE above really asks for a range where there is something to see."""
    made, _ = Things(cast).keys("video")
    path = reverse("clinics:clip-file", kwargs=made)
    answer = ask(sign_in(Client(), cast.tomas), "RANGE", path, made)
    whole = cast.clips["tomas"][0].files.get(kind="video").stored.local_path().read_bytes()
    assert answer.status == 206 and answer.body == whole[2:10]


def test_an_upload_to_a_hidden_station_answers_like_one_to_none(cast: Cast) -> None:
    """The tus creation names its station in a header, not in the URL."""

    def create(client: Client, station: uuid.UUID) -> tuple[int, bytes]:
        told = {"station": str(station), "filename": "00012.MTS"}
        packed = ",".join(f"{k} {base64.b64encode(v.encode()).decode()}" for k, v in told.items())
        with transaction.atomic():
            answer = client.post(
                reverse("clinics:tus"),
                headers={
                    "tus-resumable": "1.0.0",
                    "upload-length": "1000",
                    "upload-metadata": packed,
                },
            )
            transaction.set_rollback(True)
        return answer.status_code, answer.content

    for letter, user in cast_by_letter(cast).items():
        client = sign_in(Client(), user)
        hidden, absent = create(client, cast.start_side.pk), create(client, uuid.uuid4())
        if letter in "KR":
            assert hidden[0] == 201 and absent[0] == 404, letter
        else:
            assert hidden == absent and hidden[0] == (401 if letter == "-" else 404), letter


# --- nothing is left out ---------------------------------------------------------------


def named(resolver: URLResolver, space: str = "") -> Iterator[str]:
    for item in resolver.url_patterns:
        if isinstance(item, URLResolver):
            yield from named(item, f"{space}{item.namespace}:" if item.namespace else space)
        else:
            assert isinstance(item, URLPattern) and item.name, f"{item.pattern} has no name"
            yield f"{space}{item.name}"


def test_every_area_is_walked_once() -> None:
    walked = [
        area.__name__ for file in (test_matrix_clinics, test_matrix_feedback) for area in file.AREAS
    ]
    assert sorted(walked) == sorted(area.__name__ for area in AREAS)


def test_every_url_stands_in_the_matrix_and_nothing_else() -> None:
    told = {name.split("#")[0] for name in MATRIX}
    known = set(named(get_resolver()))
    assert known - told == set(), (
        "add these URLs to their area in tests/matrix, with who is let through"
    )
    assert told - known == set(), "these URLs are gone: take them out of tests/matrix"


def test_files_are_reached_by_no_other_path(cast: Cast) -> None:
    """Direct paths of stored files are 404, to those who may see them, too."""
    stored = cast.clips["tomas"][0].files.get(kind="video").stored
    client = sign_in(Client(), cast.coach)
    for prefix in ("/media/", "/not-served/", "/internal/media/", "/static/", "/originals/", "/"):
        assert client.get(f"{prefix}{stored.name}").status_code == 404
    with pytest.raises(NoReverseMatch):
        reverse("media", args=[stored.name])


def test_lists_hold_nothing_of_others(cast: Cast) -> None:
    """What has no id in its URL must not tell of others either."""
    secrets: dict[str, Callable[[], set[str]]] = {
        "S": lambda: {"Wren", "Sol Hagen", "Kit", "Quillmoor"},
        "W": lambda: {"Tomas", "Sol Hagen", "Kit", "Quillmoor"},
        "c": lambda: {"Tomas", "Wren", "Sol Hagen", "Harbour", "Autumn"},
        "s": lambda: {"Tomas", "Wren", "Sol Hagen", "Harbour", "Autumn"},
        "C": lambda: {"Kit", "Quillmoor", "Sol Hagen"},
    }
    clip_ids = {str(clip.pk): clip.swim_id for clip in Clip.objects.all()}
    assert len(clip_ids) == 10
    for letter, names in secrets.items():
        client = sign_in(Client(), cast_by_letter(cast)[letter])
        for url in ("clinics:clinics", "feedback:my-swims", "feedback:waiting", "portal:account"):
            page = client.get(reverse(url), follow=True).content.decode()
            for name in names():
                assert name not in page, (letter, url, name)
