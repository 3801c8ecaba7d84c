"""Asking a URL as each of the cast, on every verb, and holding the answers to its row."""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from django.db import transaction
from django.test import Client
from django.urls import reverse

from portal.middleware import OPEN_TO_ANYONE
from tests.cast import Cast, sign_in
from tests.matrix.rows import Row, verbs_of
from tests.matrix.whole import MATRIX, Things


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


def walk(name: str, cast: Cast) -> None:
    """The whole cast on the URL of a row. Raises AssertionError with who, on what verb."""
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
