"""Pictures of a recording: single frames and short runs of them, exactly as they lie there.

What was dropped (somebody swam who did not agree to be filmed) is never among them, and what is
always covered at the station is covered in them.
"""

from __future__ import annotations

import base64
import datetime as dt
import threading
import uuid
from collections.abc import Sequence
from typing import Any

from django import forms
from django.conf import settings
from django.http import Http404, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from clinics.actions.clip_source import always_covered
from clinics.actions.dropped import dropped_of, pictures_open_to
from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of, take_of
from clinics.compute.time import ticks_to_media_s
from clinics.media.contact import Box, blanked
from clinics.media.errors import MediaError
from clinics.media.frames import load_key_frames
from clinics.media.masks import box_of
from clinics.media.sandbox import Limits
from clinics.media.still import extract_frames
from clinics.models import Recording
from clinics.views.words import in_words
from portal.actions import files
from portal.actions.limits import TooOften, count_try
from portal.requests import SignedInRequest
from portal.views.serve_file import serve_file

RUN_FRAMES = 12  # pictures that come with one question: one decode makes them all
STILL_HEIGHT = 360
STILL_WALL_S = 20.0
DECODES_AT_ONCE = threading.BoundedSemaphore(2)  # in this process; stepping must not starve pages
DECODE_WAIT_S = 15.0
STILLS_AT_MOST = 240  # decodes a minute and person
STILLS_WINDOW = dt.timedelta(minutes=1)


def handled_recording(request: SignedInRequest, pk: uuid.UUID) -> Recording:
    rows = Recording.objects.handled_by(request.user).select_related(
        "station__clinic__club", "camera", "frame_table", "contact_strip", "clock_fit"
    )
    return get_object_or_404(rows, pk=pk)


def filmed_recording(request: SignedInRequest, pk: uuid.UUID) -> Recording:
    """The same, if the user may see pictures of it."""
    row = handled_recording(request, pk)
    if not pictures_open_to(row, request.user):
        raise Http404
    return row


def table_of(row: Recording) -> Any:
    """Ticks of all its frames, or 404: there is nothing to look at yet."""
    try:
        return frames_of(row)
    except (BadInput, MediaError, FileNotFoundError):
        raise Http404 from None


def clock_words(media_s: float) -> str:
    """
    >>> clock_words(75.04)
    '1:15.040'
    """
    thousandths = round(media_s * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    return f"{minutes}:{rest // 1000:02d}.{rest % 1000:03d}"


# --- what nobody sees --------------------------------------------------------------------------


class Hidden:
    """The spans of a recording that nobody sees: somebody swam who did not agree to be filmed."""

    def __init__(self, row: Recording) -> None:
        self.spans = dropped_of(row)

    def __contains__(self, ticks: Any) -> bool:
        return any(begin <= int(ticks) < end for begin, end in self.spans)


def visible_runs(table: Any, first: int, count: int, hidden: Hidden) -> list[tuple[int, int]]:
    """The frames from `first` on that may be shown, as runs of (first frame, how many)."""
    runs: list[tuple[int, int]] = []
    for number in range(first, first + count):
        if table[number] in hidden:
            continue
        if runs and sum(runs[-1]) == number:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((number, 1))
    return runs


# --- the answers ---------------------------------------------------------------------------------


@require_safe
def strip(request: SignedInRequest, pk: uuid.UUID) -> HttpResponseBase:
    row = filmed_recording(request, pk)
    if row.contact_strip is None:
        raise Http404
    boxes = [*_hidden_boxes(row), *_covered_boxes(row)]
    if not boxes:
        return serve_file(request, row.contact_strip)
    return jpeg_answer(blanked(row.contact_strip.local_path(), boxes))


def _hidden_boxes(row: Recording) -> list[Box]:
    hidden = Hidden(row)
    if not hidden.spans or not row.contact_layout:
        return []
    table = table_of(row)
    return [box for frame, box in boxes_of(row.contact_layout) if table[frame] in hidden]


def _covered_boxes(row: Recording) -> list[Box]:
    """What the station's masks cover in each still."""
    masks, found = always_covered(row), []
    for _frame, (left, top, right, bottom) in boxes_of(row.contact_layout):
        for mask in masks:
            x0, y0, x1, y1 = box_of(mask, right - left, bottom - top)
            found.append((left + x0, top + y0, left + x1, top + y1))
    return found


def boxes_of(layout: dict[str, Any]) -> list[tuple[int, Box]]:
    """The stills of a contact strip: each one's frame, and where it stands in the picture."""
    if not layout:
        return []
    width, height, columns = layout["still_width"], layout["still_height"], layout["columns"]
    boxes = []
    for number, frame in enumerate(layout["frames"]):
        left, top = number % columns * width, number // columns * height
        boxes.append((frame, (left, top, left + width, top + height)))
    return boxes


class RunForm(forms.Form):
    frame = forms.IntegerField(required=False)


@require_safe
def frames(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """A short run of consecutive pictures as JSON, each with its number and time; `hidden`
    instead of a picture where it may not be shown."""
    row = filmed_recording(request, pk)
    form = RunForm({"frame": request.GET.get("from")})
    form.is_valid()
    table = table_of(row)
    first = min(max(form.cleaned_data.get("frame") or 0, 0), len(table) - 1)
    count = min(RUN_FRAMES, len(table) - first)
    pictures: dict[int, bytes] = {}
    for begin, many in visible_runs(table, first, count, Hidden(row)):
        made = decode(request, row, table, begin, many)
        if isinstance(made, HttpResponse):
            return made
        pictures |= {begin + n: picture for n, picture in enumerate(made)}
    told = [_told(n, table, pictures.get(n)) for n in range(first, first + count)]
    return JsonResponse({"frames": told}, headers={"Cache-Control": "private, no-store"})


def _told(number: int, table: Any, picture: bytes | None) -> dict[str, Any]:
    media_s = ticks_to_media_s(int(table[number]))
    told: dict[str, Any] = {"frame": number, "media_s": media_s, "clock": clock_words(media_s)}
    if picture is None:
        return told | {"hidden": True}
    return told | {"picture": "data:image/jpeg;base64," + base64.b64encode(picture).decode()}


@require_safe
def frame(request: SignedInRequest, pk: uuid.UUID, number: int) -> HttpResponse:
    """One picture of the recording, exactly that frame."""
    row = filmed_recording(request, pk)
    table = table_of(row)
    if number >= len(table) or table[number] in Hidden(row):
        raise Http404
    pictures = decode(request, row, table, number, 1)
    return pictures if isinstance(pictures, HttpResponse) else jpeg_answer(pictures[0])


def jpeg_answer(jpeg: bytes) -> HttpResponse:
    headers = {"Cache-Control": "private, no-store", "X-Content-Type-Options": "nosniff"}
    return HttpResponse(jpeg, content_type="image/jpeg", headers=headers)


# --- decoding ------------------------------------------------------------------------------------


def decode(
    request: SignedInRequest,
    row: Recording,
    table: Any,
    first: int,
    count: int,
    height: int = STILL_HEIGHT,
) -> Sequence[bytes] | HttpResponse:
    """The pictures, or the answer that says why not. Few at once and not too often: each is
    a decode, and whoever holds an arrow key down asks for many."""
    try:
        count_try(f"frames:{request.user.pk}", at_most=STILLS_AT_MOST, window=STILLS_WINDOW)
    except TooOften as often:
        return _not_now(429, _("Too many pictures at once: wait a moment."), often.retry_after_s)
    if not DECODES_AT_ONCE.acquire(timeout=DECODE_WAIT_S):
        return _not_now(503, _("The machine is busy: wait a moment."), 2)
    try:
        return _extract(row, table, first, count, height)
    except MediaError as problem:
        return _not_now(422, problem.message, None)
    except BadInput as problem:
        return _not_now(410, str(in_words(problem)), None)
    finally:
        DECODES_AT_ONCE.release()


def _extract(row: Recording, table: Any, first: int, count: int, height: int) -> list[bytes]:
    assert row.frame_table is not None  # `table` was read from it
    take = take_of(row)
    with files.work_dir("stills") as folder:
        made = extract_frames(
            take,
            table,
            first,
            count,
            out_dir=folder,
            height=height,
            limits=Limits(probe_wall_s=STILL_WALL_S),
            key_frames=load_key_frames(row.frame_table.local_path()),
            masks=always_covered(row),
            require_sandbox=settings.REQUIRE_SANDBOX,
        )
        return [path.read_bytes() for path in made]


def _not_now(status: int, sentence: str, retry_after_s: int | None) -> HttpResponse:
    wait = {"Retry-After": str(retry_after_s)} if retry_after_s else {}
    headers = {"Cache-Control": "private, no-store", **wait}
    return HttpResponse(sentence, status=status, content_type="text/plain", headers=headers)
