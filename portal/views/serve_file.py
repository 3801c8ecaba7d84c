"""Sending a stored file, with byte ranges as RFC 9110 (section 14) has them.

Django's own FileResponse ignores Range. Whoever calls `serve_file` has asked the fence
first, on each request: so a consent that ends takes effect on the next byte range.

In production nginx sends the bytes (X-Accel-Redirect to an `internal` location, which
answers ranges by itself); in embedded mode this module streams them in chunks.
"""

from __future__ import annotations

import logging
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import BinaryIO

from django.conf import settings
from django.core.files.storage import default_storage
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.utils.encoding import iri_to_uri
from django.utils.http import content_disposition_header, escape_leading_slashes

from portal.models import StoredFile

log = logging.getLogger(__name__)

CHUNK_BYTES = 256 * 1024
# A type that is not on this list is sent as bytes to save, never as something to show.
SHOWN_TYPES = {
    "application/json",
    "application/pdf",
    "audio/mp4",
    "image/jpeg",
    "image/png",
    "image/webp",
    "video/mp4",
}
ONE_RANGE = re.compile(r"\A[ \t]*([0-9]*)[ \t]*-[ \t]*([0-9]*)[ \t]*\Z", re.ASCII)
MOST_DIGITS = 18  # more is past the end of any file, and Python limits long numbers


@dataclass(frozen=True)
class Span:
    """Bytes `first` to `last`, both sent."""

    first: int
    last: int

    @property
    def size(self) -> int:
        return self.last - self.first + 1


class Unsatisfiable(Exception):
    """The range begins past the end of the file, or asks for its last zero bytes."""


def _number(digits: str) -> int:
    return int(digits) if len(digits) <= MOST_DIGITS else 10**MOST_DIGITS


def asked_span(header: str, size: int) -> Span | None:
    """The one span that a Range header asks for; None: answer with the whole file.

    A header that a server may ignore is ignored: another unit, what cannot be read, and a
    list of several ranges (RFC 9110, 14.2), which no player sends. Raises Unsatisfiable.
    """
    unit, equals, ranges = header.partition("=")
    asked = ONE_RANGE.match(ranges)
    if not equals or unit.strip().lower() != "bytes" or asked is None or asked.groups() == ("", ""):
        return None
    first, last = asked.groups()
    if not first:
        return _suffix(_number(last), size)
    begin = _number(first)
    if last and _number(last) < begin:
        return None  # not a valid range at all
    if begin >= size:
        raise Unsatisfiable
    return Span(begin, min(_number(last), size - 1) if last else size - 1)


def _suffix(length: int, size: int) -> Span | None:
    if length == 0:
        raise Unsatisfiable
    return Span(max(0, size - length), size - 1) if size else None


class _Chunks:
    """Reads a span in chunks and closes the file, also when the browser goes away."""

    def __init__(self, source: BinaryIO, span: Span) -> None:
        self.source, self.left = source, span.size
        source.seek(span.first)

    def __iter__(self) -> Iterator[bytes]:
        return self

    def __next__(self) -> bytes:
        chunk = self.source.read(min(CHUNK_BYTES, self.left)) if self.left else b""
        if not chunk:
            self.close()
            raise StopIteration
        self.left -= len(chunk)
        return chunk

    def close(self) -> None:
        self.source.close()


def _open(stored: StoredFile) -> BinaryIO:
    try:
        if stored.area == StoredFile.Area.ORIGINALS:
            return stored.local_path().open("rb")
        return default_storage.open(stored.name, "rb")  # type: ignore[return-value]
    except FileNotFoundError:
        log.error("stored file %s is not on disk", stored.pk)
        raise Http404 from None


def _size_of(source: BinaryIO) -> int:
    """As it lies on disk: a promised length that the file does not have stalls a player."""
    size = source.seek(0, 2)
    source.seek(0)
    return size


def _accel(stored: StoredFile) -> HttpResponse:
    inside = PurePosixPath("/internal") / stored.area / stored.name
    response = HttpResponse()
    response["X-Accel-Redirect"] = escape_leading_slashes(iri_to_uri(str(inside)))
    return response


def _plain_name(name: str) -> str:
    """A name without control and direction characters: one line, reads as it is saved."""
    return "".join(sign for sign in name if unicodedata.category(sign)[0] != "C")[:200]


def _embedded(request: HttpRequest, stored: StoredFile) -> HttpResponseBase:
    source = _open(stored)
    size = _size_of(source)
    whole = Span(0, size - 1)
    if request.method == "HEAD":  # ranges are defined for GET only (RFC 9110, 14.2)
        source.close()
        return HttpResponse(headers={"Content-Length": str(size)})
    # Without validators no If-Range can match, so its Range does not count (13.1.5).
    asks = "" if "If-Range" in request.headers else request.headers.get("Range", "")
    try:
        span = asked_span(asks, size)
    except Unsatisfiable:
        source.close()
        return HttpResponse(status=416, headers={"Content-Range": f"bytes */{size}"})
    response = StreamingHttpResponse(_Chunks(source, span or whole), status=206 if span else 200)
    response["Content-Length"] = str((span or whole).size)
    if span:
        response["Content-Range"] = f"bytes {span.first}-{span.last}/{size}"
    return response


def serve_file(
    request: HttpRequest,
    stored: StoredFile,
    *,
    content_type: str | None = None,
    download_name: str | None = None,
) -> HttpResponseBase:
    """Answer a GET or HEAD with the file. With `download_name` the browser saves it."""
    if request.method not in {"GET", "HEAD"}:
        return HttpResponse(status=405, headers={"Allow": "GET, HEAD"})
    if stored.state != StoredFile.State.READY:
        raise Http404
    response = _accel(stored) if settings.X_ACCEL else _embedded(request, stored)
    kind = content_type or stored.content_type
    shown = kind in SHOWN_TYPES
    response["Content-Type"] = kind if shown else "application/octet-stream"
    response["Content-Disposition"] = (
        content_disposition_header(
            bool(download_name) or not shown, _plain_name(download_name or "")
        )
        or "inline"
    )
    response["Accept-Ranges"] = "bytes"
    response["Cache-Control"] = "private, no-store"
    response["X-Content-Type-Options"] = "nosniff"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    return response
