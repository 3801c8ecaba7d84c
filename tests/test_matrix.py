"""Role × URL × owner: every URL, the whole cast.

`tests/matrix/` says for each URL who is let through. Whoever is not gets, on every verb and for a
byte range too, exactly the answer that a random id gives. A URL that is missing there fails.
"""

from __future__ import annotations

import base64
import re
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

import pytest
from django.db import transaction
from django.test import Client
from django.urls import NoReverseMatch, URLPattern, URLResolver, get_resolver, reverse

from clinics.models import Clip
from portal.middleware import OPEN_TO_ANYONE
from tests.cast import Cast, sign_in
from tests.matrix.rows import Row, verbs_of
from tests.matrix.whole import MATRIX, Things

# --- asking ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Answer:
    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes


VARYING = {"X-Request-Id", "Set-Cookie", "Expires"}  # Expires: now, to the second
TOKEN = re.compile(rb'name="csrfmiddlewaretoken" value="[^"]*"')


def ask(client: Client, verb: str, path: str, keys: dict[str, Any]) -> Answer:
    """The answer with what may differ taken out: request id, form token, and the id itself."""
    headers = {"accept": "text/html", "tus-resumable": "1.0.0"}
    if verb == "RANGE":
        headers["range"] = "bytes=2-9"
    with transaction.atomic():
        response = client.generic("GET" if verb == "RANGE" else verb, path, headers=headers)
        body = b"".join(response) if response.streaming else response.content
        transaction.set_rollback(True)
    body = TOKEN.sub(b"", body)
    sent = {name: value for name, value in response.items() if name not in VARYING}
    ids = [str(value) for value in keys.values() if isinstance(value, uuid.UUID)]
    for text in (path, quote(path), quote(path, safe=""), *ids):
        body = body.replace(text.encode(), b"<this>")
        sent = {name: value.replace(text, "<this>") for name, value in sent.items()}
    return Answer(response.status_code, tuple(sorted(sent.items())), body)


def cast_by_letter(cast: Cast) -> dict[str, Any]:
    return {
        "S": cast.tomas,
        "W": cast.wren,
        "X": cast.sol,
        "C": cast.coach,
        "K": cast.checker,
        "R": cast.crew,
        "A": cast.admin,
        "c": cast.other_coach,
        "a": cast.other_admin,
        "s": cast.other_swimmer,
        "-": None,
    }


def check_let_through(row: Row, verb: str, answer: Answer, here: str) -> None:
    assert answer.status not in {401, 404, 405}, here
    assert answer.status < 500 or answer.status == 503, here
    if verb in {"GET", "RANGE", "HEAD"}:
        assert answer.status < 400, (here, answer.status)


def check_kept_out(verb: str, answer: Answer, absent: Answer, letter: str, here: str) -> None:
    assert answer == absent, here
    if letter == "-" and here.split("#")[0].split(": ")[0] not in OPEN_TO_ANYONE:
        assert answer.status in {302, 401}, here
    elif verb in {"GET", "HEAD", "RANGE", "POST"}:
        assert answer.status in {404, 405, 204}, (here, answer.status)


@pytest.mark.parametrize("name", MATRIX)
def test_the_whole_cast_on(name: str, cast: Cast) -> None:
    row = MATRIX[name]
    made, nothing = Things(cast).keys(row.of)
    path = reverse(name.split("#")[0], kwargs=made)
    no_path = reverse(name.split("#")[0], kwargs=nothing)
    for letter, user in cast_by_letter(cast).items():
        client = sign_in(Client(), user)
        for verb in verbs_of(row, letter, name):
            here = f"{name}: {letter} {verb}"
            answer = ask(client, verb, path, made)
            if letter in row.may(verb):
                check_let_through(row, verb, answer, here)
            elif letter not in row.knows() and row.of:
                absent = ask(client, verb, no_path, nothing)
                check_kept_out(verb, answer, absent, letter, here)
            elif letter == "-":
                assert answer.status in {302, 401, 405}, here
            elif verb in {"GET", "POST"}:
                assert answer.status in {403, 404, 405}, (here, answer.status)
            else:
                assert answer.status < 500, here


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
