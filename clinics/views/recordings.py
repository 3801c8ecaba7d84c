"""A recording's page: what it is, how sure its clock is, and placing ties by hand."""

from __future__ import annotations

import base64
import datetime as dt
import threading
import uuid
from dataclasses import dataclass
from typing import Any

import numpy as np
from django import forms
from django.conf import settings
from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from clinics.actions import align
from clinics.actions.bring_in import frames_of, take_of
from clinics.actions.errors import BadInput
from clinics.compute.time import media_s_at, media_s_to_ticks, ticks_to_media_s
from clinics.media.errors import MediaError
from clinics.media.frames import load_key_frames
from clinics.media.sandbox import Limits
from clinics.media.still import extract_frames
from clinics.models import ClockFit, Recording, Swim, Tie
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
STEPS = (-100, -10, -1, 1, 10, 100)


def _recording(request: SignedInRequest, pk: uuid.UUID) -> Recording:
    rows = Recording.objects.handled_by(request.user).select_related(
        "station__clinic__club", "camera", "frame_table", "contact_strip", "clock_fit"
    )
    return get_object_or_404(rows, pk=pk)


# --- the page ------------------------------------------------------------------------------------


def _swims(row: Recording) -> QuerySet[Swim]:
    """The clinic's swims in running order, by name: what the start log shows to crew, too."""
    swims = Swim.objects.filter(entry__clinic=row.station.clinic)
    return swims.select_related("entry__swimmer").order_by("start_at")


class LookForm(forms.Form):
    """Where to look: a frame, or where a swim's start is expected."""

    frame = forms.IntegerField(required=False)
    step = forms.IntegerField(required=False)
    swim = forms.UUIDField(required=False)


class TieForm(forms.Form):
    """This frame shows the start of that swim."""

    frame = forms.IntegerField(min_value=0)
    kind = forms.ChoiceField(
        choices=[
            (Tie.Kind.START_SEEN, gettext_lazy("the start is seen")),
            (Tie.Kind.START_HEARD, gettext_lazy("the start signal is heard")),
        ],
    )

    def __init__(self, recording: Recording, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["swim"] = forms.ModelChoiceField(_swims(recording))


@dataclass(frozen=True)
class Place:
    """Where the page stands in the recording."""

    frame: int
    media_s: float
    steps: list[tuple[int, int]]

    def clock(self) -> str:
        return clock_words(self.media_s)


def clock_words(media_s: float) -> str:
    """
    >>> clock_words(75.04)
    '1:15.040'
    """
    thousandths = round(media_s * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    return f"{minutes}:{rest // 1000:02d}.{rest % 1000:03d}"


@require_safe
def recording(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    row = _recording(request, pk)
    place = _place(row, LookForm(request.GET)) if row.state == Recording.State.READY else None
    fit = ClockFit.objects.filter(recording=row).first()
    context = {
        "recording": row,
        "clinic": row.station.clinic,
        "files": row.files.select_related("stored").order_by("order"),
        "place": place,
        "fit": fit,
        "ties": row.ties.select_related("swim__entry__swimmer", "placed_by"),
        "form": TieForm(row, initial=_initial(request, place)),
        "swims": _swims(row),
        "length": clock_words(row.duration_s) if row.duration_s else "",
        "last_frame": (row.frame_count or 1) - 1,
        "stills": _stills(row),
        "run_frames": RUN_FRAMES,
    }
    return render(request, "clinics/recording.html", context)


def _initial(request: SignedInRequest, place: Place | None) -> dict[str, Any]:
    heard_first = Tie.Kind.START_SEEN
    frame = place.frame if place else 0
    return {"frame": frame, "swim": request.GET.get("swim"), "kind": heard_first}


def _place(row: Recording, form: LookForm) -> Place:
    """The frame asked for, kept inside the recording; a swim leads to its expected start."""
    frames = _frames(row)
    form.is_valid()
    said = form.cleaned_data
    number = (said.get("frame") or 0) + (said.get("step") or 0)
    if said.get("frame") is None and said.get("swim"):
        number = _expected_frame(row, frames, said["swim"])
    number = min(max(number, 0), len(frames) - 1)
    steps = [(step, min(max(number + step, 0), len(frames) - 1)) for step in STEPS]
    return Place(number, ticks_to_media_s(int(frames[number])), steps)


def _frames(row: Recording) -> Any:
    try:
        return frames_of(row)
    except (BadInput, MediaError, FileNotFoundError):
        raise Http404 from None


def _expected_frame(row: Recording, frames: Any, swim_pk: uuid.UUID) -> int:
    """Where the swim's start should be by the clock fit so far; the beginning without one."""
    fit = ClockFit.objects.filter(recording=row, zero_at__isnull=False).first()
    swim = Swim.objects.filter(entry__clinic=row.station.clinic, pk=swim_pk).first()
    if fit is None or fit.zero_at is None or swim is None:
        return 0
    ticks = media_s_to_ticks(media_s_at(fit.zero_at, fit.rate_ppm, swim.start_at))
    return int(np.searchsorted(frames, ticks))


@dataclass(frozen=True)
class StripStill:
    """One still of the contact strip, as an area of the picture that leads to its frame."""

    frame: int
    left: int
    top: int
    right: int
    bottom: int

    def coords(self) -> str:
        return f"{self.left},{self.top},{self.right},{self.bottom}"


def _stills(row: Recording) -> list[StripStill]:
    layout = row.contact_layout
    if not layout:
        return []
    width, height, columns = layout["still_width"], layout["still_height"], layout["columns"]
    stills = []
    for number, frame in enumerate(layout["frames"]):
        left, top = number % columns * width, number // columns * height
        stills.append(StripStill(frame, left, top, left + width, top + height))
    return stills


# --- pictures ------------------------------------------------------------------------------------


@require_safe
def strip(request: SignedInRequest, pk: uuid.UUID) -> HttpResponseBase:
    row = _recording(request, pk)
    if row.contact_strip is None:
        raise Http404
    return serve_file(request, row.contact_strip)


@require_safe
def frames(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """A short run of consecutive pictures as JSON, each with its number and time."""
    row = _recording(request, pk)
    form = LookForm({"frame": request.GET.get("from")})
    form.is_valid()
    table = _frames(row)
    first = min(max(form.cleaned_data.get("frame") or 0, 0), len(table) - 1)
    count = min(RUN_FRAMES, len(table) - first)
    pictures = _decode(request, row, table, first, count)
    if isinstance(pictures, HttpResponse):
        return pictures
    told = [
        {
            "frame": first + number,
            "media_s": ticks_to_media_s(int(table[first + number])),
            "clock": clock_words(ticks_to_media_s(int(table[first + number]))),
            "picture": "data:image/jpeg;base64," + base64.b64encode(picture).decode(),
        }
        for number, picture in enumerate(pictures)
    ]
    return JsonResponse({"frames": told}, headers={"Cache-Control": "private, no-store"})


@require_safe
def frame(request: SignedInRequest, pk: uuid.UUID, number: int) -> HttpResponse:
    """One picture of the recording, exactly that frame."""
    row = _recording(request, pk)
    table = _frames(row)
    if number >= len(table):
        raise Http404
    pictures = _decode(request, row, table, number, 1)
    if isinstance(pictures, HttpResponse):
        return pictures
    headers = {"Cache-Control": "private, no-store", "X-Content-Type-Options": "nosniff"}
    return HttpResponse(pictures[0], content_type="image/jpeg", headers=headers)


def _decode(
    request: SignedInRequest, row: Recording, table: Any, first: int, count: int
) -> list[bytes] | HttpResponse:
    """The pictures, or the answer that says why not. Few at once and not too often: each is
    a decode, and whoever holds an arrow key down asks for many."""
    try:
        count_try(f"frames:{request.user.pk}", at_most=STILLS_AT_MOST, window=STILLS_WINDOW)
    except TooOften as often:
        return _not_now(429, _("Too many pictures at once: wait a moment."), often.retry_after_s)
    if not DECODES_AT_ONCE.acquire(timeout=DECODE_WAIT_S):
        return _not_now(503, _("The machine is busy: wait a moment."), 2)
    try:
        assert row.frame_table is not None  # `table` was read from it
        with files.work_dir("stills") as folder:
            made = extract_frames(
                take_of(row),
                table,
                first,
                count,
                out_dir=folder,
                height=STILL_HEIGHT,
                limits=Limits(probe_wall_s=STILL_WALL_S),
                key_frames=load_key_frames(row.frame_table.local_path()),
                require_sandbox=settings.REQUIRE_SANDBOX,
            )
            return [path.read_bytes() for path in made]
    except MediaError as problem:
        return _not_now(422, problem.message, None)
    except BadInput as problem:
        return _not_now(410, str(in_words(problem)), None)
    finally:
        DECODES_AT_ONCE.release()


def _not_now(status: int, sentence: str, retry_after_s: int | None) -> HttpResponse:
    wait = {"Retry-After": str(retry_after_s)} if retry_after_s else {}
    headers = {"Cache-Control": "private, no-store", **wait}
    return HttpResponse(sentence, status=status, content_type="text/plain", headers=headers)


# --- ties ----------------------------------------------------------------------------------------


@require_POST
def tie(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Place a tie on exactly the frame that was shown, then fit the clocks anew."""
    row = _recording(request, pk)
    form = TieForm(row, request.POST)
    table = _frames(row)
    here = reverse("clinics:recording", args=[row.pk])
    if not form.is_valid() or form.cleaned_data["frame"] >= len(table):
        messages.error(request, _("Choose a frame and whose start it shows."))
        return redirect(here)
    number, swim = form.cleaned_data["frame"], form.cleaned_data["swim"]
    try:
        align.place_tie(
            recording=row,
            pts_ticks=int(table[number]),
            swim=swim,
            kind=form.cleaned_data["kind"],
            by=request.user,
        )
        _fit_again(request, row)
    except BadInput as problem:
        messages.error(request, str(in_words(problem)))
    else:
        messages.success(request, _("Tied: %(swim)s starts at this frame.") % {"swim": swim})
    return redirect(f"{here}?frame={number}")


@require_POST
def tie_remove(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    mine = Recording.objects.handled_by(request.user)
    rows = Tie.objects.filter(recording__in=mine.values("pk")).select_related(
        "recording__station__clinic__club"
    )
    found = get_object_or_404(rows, pk=pk)
    recording_row = found.recording
    try:
        align.remove_tie(tie=found, by=request.user)
        _fit_again(request, recording_row)
    except BadInput as problem:
        messages.error(request, str(in_words(problem)))
    else:
        messages.success(request, _("The tie is removed and the clocks are fitted anew."))
    return redirect(reverse("clinics:recording", args=[recording_row.pk]))


def _fit_again(request: SignedInRequest, row: Recording) -> None:
    """At once, so that the page shows it; then the cuts follow as a job."""
    clinic = row.station.clinic
    align.fit_clocks(clinic=clinic, by=request.user)
    align.ask_to_align(clinic=clinic, by=request.user)
