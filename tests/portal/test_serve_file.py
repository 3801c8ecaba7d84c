"""Byte ranges against RFC 9110 (sections 13.1.5, 14 and 15.5.17) and RFC 6266 names."""

from __future__ import annotations

import os
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core.signals import request_finished
from django.db import close_old_connections
from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.test import Client, RequestFactory
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from portal.models import Club, StoredFile
from portal.views.serve_file import CHUNK_BYTES, Span, Unsatisfiable, asked_span, serve_file
from tests.cast import Cast, make_stored, sign_in

CONTENT = os.urandom(3 * CHUNK_BYTES + 4321)
SIZE = len(CONTENT)


@pytest.fixture
def stored(db: None) -> Iterator[StoredFile]:
    club = Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")
    request_finished.disconnect(close_old_connections)  # `close()` sends it; the test goes on
    yield make_stored(club, CONTENT, kind="video", suffix=".mp4")
    request_finished.connect(close_old_connections)


def ask(stored: StoredFile, method: str = "get", **named: Any) -> Any:
    headers = named.pop("headers", {})
    request = getattr(RequestFactory(), method)("/", headers=headers)
    return serve_file(request, stored, **named)


def body(response: Any) -> bytes:
    try:
        return b"".join(response) if response.streaming else response.content
    finally:
        response.close()


# --- which bytes: RFC 9110, 14.1.2 and 14.2 -------------------------------------------------


@pytest.mark.parametrize(
    ("header", "span"),
    [
        ("bytes=0-499", Span(0, 499)),
        ("bytes=500-999", Span(500, 999)),
        ("bytes=-500", Span(9500, 9999)),
        ("bytes=9500-", Span(9500, 9999)),
        ("bytes=0-0", Span(0, 0)),
        ("bytes=9999-9999", Span(9999, 9999)),
        ("bytes=0-99999", Span(0, 9999)),
        ("bytes=-99999", Span(0, 9999)),
        ("BYTES=0-4", Span(0, 4)),
        ("bytes= 0-4 ", Span(0, 4)),
        (f"bytes=0-{'9' * 5000}", Span(0, 9999)),
        # what may be ignored is ignored: the whole file
        ("", None),
        ("bytes", None),
        ("bytes=", None),
        ("bytes=-", None),
        ("bytes=a-b", None),
        ("bytes=5-4", None),
        ("bytes=1-2-3", None),
        ("bytes=٠-٤", None),
        ("bytes=+1-5", None),
        ("items=0-5", None),
        ("bytes=0-0,-1", None),
        ("bytes=0-0,5-9,20-30", None),
    ],
)
def test_asked_span_of_ten_thousand_bytes(header: str, span: Span | None) -> None:
    assert asked_span(header, 10_000) == span


@pytest.mark.parametrize("header", ["bytes=10000-", "bytes=10000-10001", "bytes=-0"])
def test_asked_span_past_the_end_is_unsatisfiable(header: str) -> None:
    with pytest.raises(Unsatisfiable):
        asked_span(header, 10_000)
    with pytest.raises(Unsatisfiable):
        asked_span(f"bytes={'9' * 5000}-", 10_000)


@given(st.integers(0, 300), st.integers(0, 400), st.integers(0, 400))
def test_asked_span_is_what_a_slice_gives(size: int, first: int, last: int) -> None:
    content = bytes(index % 251 for index in range(size))
    try:
        span = asked_span(f"bytes={first}-{last}", size)
    except Unsatisfiable:
        assert content[first : last + 1] == b"" and first >= size
        return
    if span is None:
        assert last < first
    else:
        assert content[span.first : span.first + span.size] == content[first : last + 1]


@given(st.text(max_size=40))
def test_asked_span_never_fails_on_any_header(header: str) -> None:
    for value in (header, f"bytes={header}"):
        try:
            span = asked_span(value, 100)
        except Unsatisfiable:
            continue
        assert span is None or 0 <= span.first <= span.last < 100


# --- answers ----------------------------------------------------------------------------------


def test_whole_file_is_equal_and_has_its_length(stored: StoredFile) -> None:
    response = ask(stored)
    assert isinstance(response, StreamingHttpResponse)
    assert response.status_code == 200
    assert response["Content-Length"] == str(SIZE)
    assert "Content-Range" not in response
    assert body(response) == CONTENT


def test_every_answer_says_private_typed_and_not_sniffed(stored: StoredFile) -> None:
    for headers in ({}, {"Range": "bytes=0-9"}, {"Range": f"bytes={SIZE}-"}):
        response = ask(stored, headers=headers)
        assert response["Accept-Ranges"] == "bytes"
        assert response["Cache-Control"] == "private, no-store"
        assert response["X-Content-Type-Options"] == "nosniff"
        assert response["Content-Type"] == "video/mp4"
        assert response["Content-Disposition"] == "inline"
        assert "ETag" not in response and "Last-Modified" not in response
        response.close()


@pytest.mark.parametrize(
    ("asks", "first", "last"),
    [
        ("bytes=0-0", 0, 0),
        (f"bytes={CHUNK_BYTES - 1}-{CHUNK_BYTES}", CHUNK_BYTES - 1, CHUNK_BYTES),
        ("bytes=-1000", SIZE - 1000, SIZE - 1),
        ("bytes=12345-", 12345, SIZE - 1),
        (f"bytes=0-{SIZE * 2}", 0, SIZE - 1),
    ],
)
def test_a_range_gives_206_and_equal_bytes(
    stored: StoredFile, asks: str, first: int, last: int
) -> None:
    response = ask(stored, headers={"Range": asks})
    assert response.status_code == 206
    assert response["Content-Range"] == f"bytes {first}-{last}/{SIZE}"
    assert response["Content-Length"] == str(last - first + 1)
    assert body(response) == CONTENT[first : last + 1]


@pytest.mark.parametrize("asks", [f"bytes={SIZE}-", "bytes=-0", f"bytes={SIZE + 5}-{SIZE + 9}"])
def test_past_the_end_gives_416_with_the_size(stored: StoredFile, asks: str) -> None:
    response = ask(stored, headers={"Range": asks})
    assert response.status_code == 416
    assert response["Content-Range"] == f"bytes */{SIZE}"
    assert body(response) == b""


def test_if_range_gives_the_whole_since_no_validator_was_sent(stored: StoredFile) -> None:
    for validator in ('"abc"', 'W/"abc"', "Sat, 14 Nov 2026 10:12:30 GMT"):
        response = ask(stored, headers={"Range": "bytes=0-9", "If-Range": validator})
        assert response.status_code == 200
        assert body(response) == CONTENT


def test_several_ranges_give_the_whole(stored: StoredFile) -> None:
    response = ask(stored, headers={"Range": "bytes=0-9,100-109"})
    assert response.status_code == 200
    assert body(response) == CONTENT


def test_head_has_the_headers_of_the_whole_and_no_body(stored: StoredFile) -> None:
    response = ask(stored, "head", headers={"Range": "bytes=0-9"})
    assert response.status_code == 200
    assert response["Content-Length"] == str(SIZE)
    assert response["Accept-Ranges"] == "bytes"
    assert body(response) == b""


def test_other_verbs_are_refused(stored: StoredFile) -> None:
    for method in ("post", "put", "delete", "options", "patch"):
        response = ask(stored, method)
        assert response.status_code == 405
        assert response["Allow"] == "GET, HEAD"


def test_an_empty_file_has_no_range(stored: StoredFile) -> None:
    empty = make_stored(stored.club, b"", kind="video", suffix=".mp4")
    assert ask(empty).status_code == 200
    assert body(ask(empty)) == b""
    assert ask(empty, headers={"Range": "bytes=0-"}).status_code == 416
    assert ask(empty, headers={"Range": "bytes=-5"}).status_code == 200


def test_a_file_that_is_gone_is_absent(stored: StoredFile) -> None:
    stored.local_path().unlink()
    with pytest.raises(Http404):
        ask(stored)
    stored.state = "deleted"
    with pytest.raises(Http404):
        ask(stored)


def test_length_is_of_the_file_on_disk_not_of_the_row(stored: StoredFile) -> None:
    """A promised length that the file does not have would stall the player."""
    stored.local_path().write_bytes(CONTENT[:1000])
    response = ask(stored, headers={"Range": "bytes=0-4999"})
    assert response["Content-Range"] == "bytes 0-999/1000"
    assert body(response) == CONTENT[:1000]


def test_the_file_is_closed_when_the_browser_goes_away(stored: StoredFile) -> None:
    def open_here() -> list[str]:
        links = list(Path("/proc/self/fd").iterdir())
        return [str(link.readlink()) for link in links if link.is_symlink()]

    response = ask(stored)
    path = str(stored.local_path())
    assert next(iter(response)) == CONTENT[:CHUNK_BYTES]
    assert path in open_here()
    response.close()
    assert path not in open_here()


def test_names_follow_rfc_6266(stored: StoredFile) -> None:
    def disposition(name: str) -> str:
        response = ask(stored, download_name=name)
        response.close()
        return response["Content-Disposition"]

    assert disposition("go 1.mp4") == 'attachment; filename="go 1.mp4"'
    assert disposition("tournée.mp4") == "attachment; filename*=utf-8''tourn%C3%A9e.mp4"
    assert disposition('a"b\\c.mp4') == 'attachment; filename="a\\"b\\\\c.mp4"'
    assert disposition("a\r\nX-Evil: 1\u202e.mp4") == 'attachment; filename="aX-Evil: 1.mp4"'


def test_a_type_that_is_not_on_the_list_is_saved_not_shown(stored: StoredFile) -> None:
    for kind in ("text/html", "image/svg+xml", "application/xhtml+xml", ""):
        stored.content_type = kind
        response = ask(stored)
        response.close()
        assert response["Content-Type"] == "application/octet-stream"
        assert response["Content-Disposition"].startswith("attachment")


def test_behind_nginx_only_a_path_is_sent(stored: StoredFile, settings: Any) -> None:
    settings.X_ACCEL = True
    response = ask(stored, headers={"Range": "bytes=0-9"})
    assert isinstance(response, HttpResponse)
    assert response["X-Accel-Redirect"] == f"/internal/media/{stored.name}"
    assert response.status_code == 200 and response.content == b""
    assert response["Content-Type"] == "video/mp4"
    assert response["Cache-Control"] == "private, no-store"
    original = make_stored(stored.club, b"x", kind="original", suffix=".MTS", area="originals")
    assert ask(original)["X-Accel-Redirect"] == f"/internal/originals/{original.name}"


# --- through a real server ------------------------------------------------------------------------


def _over_http(live_server: Any, cookie: str, path: str, **headers: str) -> Any:
    where = urlsplit(live_server.url)
    connection = HTTPConnection(where.hostname or "", where.port or 80, timeout=20)
    connection.request("GET", path, headers={"Cookie": cookie, **headers})
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    return answer, content


@pytest.mark.django_db(transaction=True)
def test_bytes_over_http_are_equal_and_end_with_the_consent(live_server: Any, cast: Cast) -> None:
    """A consent that ends takes effect on the next byte range."""
    shown = cast.clips["tomas"][0].files.get(kind="video")
    shown.stored.local_path().write_bytes(CONTENT)
    client = sign_in(Client(), cast.coach)
    cookie = f"session={client.cookies['session'].value}"
    path = reverse("clinics:clip-file", args=[shown.pk])

    answer, content = _over_http(live_server, cookie, path)
    assert (answer.status, content) == (200, CONTENT)
    pieces = b""
    for first in range(0, SIZE, 200_000):
        answer, content = _over_http(
            live_server, cookie, path, Range=f"bytes={first}-{first + 199_999}"
        )
        assert answer.status == 206
        pieces += content
    assert pieces == CONTENT
    answer, content = _over_http(live_server, cookie, path, Range=f"bytes={SIZE}-")
    assert (answer.status, answer.headers["Content-Range"]) == (416, f"bytes */{SIZE}")

    cast.swims["tomas"].entry.swimmer.consents.update(ended_at=cast.swims["tomas"].start_at)
    answer, content = _over_http(live_server, cookie, path, Range="bytes=0-9")
    assert answer.status == 404 and CONTENT[:10] not in content
