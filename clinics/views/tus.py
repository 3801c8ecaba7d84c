"""The open tus 1.0.0 protocol: creation, termination, expiration (https://tus.io/protocols).

What the bytes and rows do stands in `clinics/actions/uploads.py`; here are headers and
status codes. Somebody else's upload answers exactly as one that never was.
"""

from __future__ import annotations

import base64
import binascii
import contextlib
import datetime as dt
import functools
import re
import uuid
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.http import http_date

from clinics.actions import upload_ends, uploads
from clinics.actions.space import NoRoom
from clinics.actions.upload_parts import Busy
from clinics.models import Clinic, Station, Upload
from portal.requests import SignedInRequest

VERSION = "1.0.0"
EXTENSIONS = "creation,termination,expiration"
OFFSET_TYPE = "application/offset+octet-stream"
METADATA_CHARS = 4096
CARD_FILES_MOST = 1000
SHA256 = re.compile(r"\A[0-9a-f]{64}\Z")
View = Callable[..., HttpResponse]


def _plain(status: int, sentence: str, **headers: str) -> HttpResponse:
    return HttpResponse(f"{sentence}\n", status=status, content_type="text/plain", headers=headers)


def _speaks_tus(view: View) -> View:
    """The version asked for and said, and every refusal as the protocol names it."""

    @functools.wraps(view)
    def wrapped(request: SignedInRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = _answer(view, request, *args, **kwargs)
        response["Tus-Resumable"] = VERSION
        response["Cache-Control"] = "no-store"
        response["X-Content-Type-Options"] = "nosniff"
        return response

    return wrapped


def _answer(view: View, request: SignedInRequest, *args: Any, **kwargs: Any) -> HttpResponse:
    if request.method != "OPTIONS" and request.headers.get("Tus-Resumable") != VERSION:
        return _plain(412, f"This server speaks tus {VERSION}.", **{"Tus-Version": VERSION})
    try:
        return view(request, *args, **kwargs)
    except Http404:
        return _plain(404, "Not found.")
    except uploads.WrongOffset:
        return _plain(409, "The offset is not where this upload stands; ask for it with HEAD.")
    except Busy:
        return _plain(423, "Another request is writing to this upload.")
    except uploads.TooMuch:
        return _plain(413, "More bytes than are allowed here.")
    except uploads.Ended:
        return _plain(410, "This upload has ended.")
    except uploads.Broken:
        return _plain(400, "The connection ended early; ask with HEAD how much is kept.")
    except NoRoom as full:
        return _plain(507, str(full))


def _said_method(request: SignedInRequest) -> str:
    """tus: a client that cannot send PATCH or DELETE names it in X-HTTP-Method-Override."""
    override = request.headers.get("X-HTTP-Method-Override", "")
    return override.upper() if request.method == "POST" and override else str(request.method)


def _number(request: SignedInRequest, header: str) -> int:
    """A header that must be a whole number of bytes; -1 if it is not one."""
    said = request.headers.get(header, "")
    return int(said) if said.isascii() and said.isdigit() and len(said) <= 18 else -1


# --- creation ----------------------------------------------------------------------------------


@_speaks_tus
def tus(request: SignedInRequest) -> HttpResponse:
    """`/uploads/`: what the server can do, and a new upload."""
    if request.method == "OPTIONS":
        most = {"Tus-Max-Size": str(settings.UPLOAD_MAX_BYTES)}
        return HttpResponse(
            status=204, headers={"Tus-Version": VERSION, "Tus-Extension": EXTENSIONS, **most}
        )
    if request.method != "POST":
        return _plain(405, "Use POST or OPTIONS.", Allow="OPTIONS, POST")
    said = _read_metadata(request.headers.get("Upload-Metadata", ""))
    size = _number(request, "Upload-Length")
    if said is None or size < 0:
        return _plain(400, "Upload-Length and Upload-Metadata are missing or cannot be read.")
    station = _station(request, said.get("station", ""))
    upload = uploads.begin(station=station, wanted=_wanted(request, said, size), by=request.user)
    response = HttpResponse(status=201)
    response["Location"] = request.build_absolute_uri(reverse("clinics:upload", args=[upload.pk]))
    return _with_expiry(response, upload)


def _read_metadata(header: str) -> dict[str, str] | None:
    """`key base64,key base64` as text; None if it is not that."""
    said: dict[str, str] = {}
    if len(header) > METADATA_CHARS:
        return None
    for pair in filter(None, header.split(",")):
        key, _, packed = pair.strip().partition(" ")
        try:
            said[key] = base64.b64decode(packed.strip(), validate=True).decode(errors="replace")
        except binascii.Error:
            return None
    return said


def _station(request: SignedInRequest, key: str) -> Station:
    """A station of a clinic that this person works at; anything else is not there."""
    with contextlib.suppress(ValueError):
        mine = Clinic.objects.worked_by(request.user)
        stations = Station.objects.select_related("clinic__club")
        return get_object_or_404(stations, pk=uuid.UUID(key), clinic__in=mine.values("pk"))
    raise Http404


def _wanted(request: SignedInRequest, said: dict[str, str], size: int) -> uploads.Wanted:
    """Odd values of what is optional count as not said."""
    card, modified_at = None, None
    with contextlib.suppress(ValueError):
        card = uuid.UUID(said.get("card", ""))
    with contextlib.suppress(ValueError, OverflowError, OSError):
        modified_at = dt.datetime.fromtimestamp(int(said.get("modified", "")) / 1000, tz=dt.UTC)
    files = said.get("card_files", "")
    count = int(files) if files.isascii() and files.isdigit() and len(files) < 6 else 1
    sha256 = said.get("sha256", "").lower()
    return uploads.Wanted(
        name=_name(said),
        size_bytes=size,
        camera_name=_without_nul(said.get("camera", "")),
        card=card,
        card_files=min(max(count, 1), CARD_FILES_MOST),
        modified_at=modified_at,
        sha256=sha256 if SHA256.match(sha256) else "",
        tus_metadata=request.headers.get("Upload-Metadata", ""),
    )


def _name(said: dict[str, str]) -> str:
    return _without_nul(said.get("filename") or said.get("name") or "file")


def _without_nul(text: str) -> str:
    """PostgreSQL stores no NUL in text; shown instead as the sign for it."""
    return text.replace("\0", "\N{SYMBOL FOR NULL}")


def _with_expiry(response: HttpResponse, upload: Upload) -> HttpResponse:
    if upload.state == Upload.State.OPEN:
        response["Upload-Expires"] = http_date(upload.expires_at.timestamp())
    return response


# --- one upload --------------------------------------------------------------------------------


@_speaks_tus
def upload(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """`/uploads/<id>/`: where it stands, more bytes, the end of it."""
    method = _said_method(request)
    if method == "OPTIONS":
        return HttpResponse(
            status=204, headers={"Tus-Version": VERSION, "Tus-Extension": EXTENSIONS}
        )
    mine = Upload.objects.owned_by(request.user).select_related("station__clinic__club")
    clinics = Clinic.objects.worked_by(request.user)
    row = get_object_or_404(mine, pk=pk, station__clinic__in=clinics.values("pk"))
    answers = {"HEAD": _head, "PATCH": _patch, "DELETE": _delete}
    if method not in answers:
        return _plain(405, "Use HEAD, PATCH or DELETE.", Allow="DELETE, HEAD, OPTIONS, PATCH")
    if upload_ends.is_gone(row):
        return _plain(410, "This upload has ended.")
    return answers[method](request, row)


def _head(request: SignedInRequest, row: Upload) -> HttpResponse:
    offset = uploads.durable_offset(row)
    headers = {"Upload-Offset": str(offset), "Upload-Length": str(row.size_bytes)}
    if row.tus_metadata:
        headers["Upload-Metadata"] = row.tus_metadata
    return _with_expiry(HttpResponse(status=200, headers=headers), row)


def _patch(request: SignedInRequest, row: Upload) -> HttpResponse:
    if request.content_type != OFFSET_TYPE:
        return _plain(415, f"Send the bytes as {OFFSET_TYPE}.")
    offset, length = _number(request, "Upload-Offset"), _number(request, "Content-Length")
    if offset < 0:
        return _plain(400, "Upload-Offset is missing or cannot be read.")
    if length < 0:
        return _plain(411, "Say with Content-Length how many bytes come.")
    _give_up_when_silent(request)
    row = uploads.append(upload=row, offset=offset, length=length, read=request.read)
    response = HttpResponse(status=204, headers={"Upload-Offset": str(row.offset_bytes)})
    return _with_expiry(response, row)


def _give_up_when_silent(request: SignedInRequest) -> None:
    """A client that lost its network leaves a connection that never ends: it would keep the
    upload locked. gunicorn sets no limit on reading a body, but hands us the socket."""
    socket = request.META.get("gunicorn.socket")
    if socket is not None:
        socket.settimeout(settings.UPLOAD_SILENT_S)


def _delete(request: SignedInRequest, row: Upload) -> HttpResponse:
    upload_ends.end(upload=row, by=request.user)
    return HttpResponse(status=204)
