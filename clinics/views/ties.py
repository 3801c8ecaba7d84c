"""Ties that people place: a start on a frame, the same moment in two views, one of two places;
and the factor of slow motion."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from clinics.actions import align, ties
from clinics.actions.dropped import pictures_open_to
from clinics.actions.errors import BadInput
from clinics.actions.slow_motion import set_slow_motion
from clinics.actions.ties_by_hand import choose_place, place_same_moment
from clinics.models import Recording, Tie
from clinics.views.recording_frames import (
    RUN_FRAMES,
    Hidden,
    filmed_recording,
    handled_recording,
    table_of,
)
from clinics.views.tie_forms import (
    LookForm,
    Place,
    SlowMotionForm,
    TieForm,
    TwoForm,
    clock_of,
    place_asked_for,
    place_at,
    ran_at_once,
    same_instant,
)
from clinics.views.words import in_words
from portal.requests import SignedInRequest


def _here(row: Recording) -> str:
    return reverse("clinics:recording", args=[row.pk])


def _fit_again(request: SignedInRequest, row: Recording) -> None:
    """At once, so that the page shows it; then a job listens again, and the cuts follow."""
    clinic = row.station.clinic
    align.fit_clocks(clinic=clinic, by=request.user, listen=False)
    align.ask_to_align(clinic=clinic, by=request.user)


@require_POST
def tie(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Place a tie on exactly the frame that was shown, then fit the clocks anew."""
    row = handled_recording(request, pk)
    form = TieForm(row, request.POST)
    table = table_of(row)
    if not form.is_valid() or form.cleaned_data["frame"] >= len(table):
        messages.error(request, _("Choose a frame and whose start it shows."))
        return redirect(_here(row))
    number, swim = form.cleaned_data["frame"], form.cleaned_data["swim"]
    try:
        ties.place_tie(
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
    return redirect(f"{_here(row)}?frame={number}")


@require_POST
def tie_remove(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Take back what a person placed; what was found by itself is found anew by each fit."""
    mine = Recording.objects.handled_by(request.user)
    rows = Tie.objects.filter(
        recording__in=mine.values("pk"), found_by=Tie.FoundBy.PERSON
    ).select_related("recording__station__clinic__club")
    found = get_object_or_404(rows, pk=pk)
    recording_row = found.recording
    try:
        ties.remove_tie(tie=found, by=request.user)
        _fit_again(request, recording_row)
    except BadInput as problem:
        messages.error(request, str(in_words(problem)))
    else:
        messages.success(request, _("The tie is removed and the clocks are fitted anew."))
    return redirect(_here(recording_row))


@require_POST
def place(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """It lies at this one of two places that fit about as well."""
    row = handled_recording(request, pk)
    try:
        made = choose_place(recording=row, key=request.POST.get("place", ""), by=request.user)
        _fit_again(request, row)
    except BadInput as problem:
        messages.error(request, str(in_words(problem)))
    else:
        told = _("Tied to the start of %(swim)s; the clocks are fitted anew.")
        messages.success(request, told % {"swim": made.swim})
    return redirect(_here(row))


@require_POST
def slow_motion(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """By which factor the camera stretched time."""
    row = handled_recording(request, pk)
    form = SlowMotionForm(request.POST)
    if not form.is_valid():
        for problems in form.errors.values():
            messages.error(request, " ".join(str(one) for one in problems))
        return redirect(_here(row))
    try:
        set_slow_motion(recording=row, factor=form.cleaned_data["chosen"], by=request.user)
    except BadInput as problem:
        messages.error(request, str(in_words(problem)))
    else:
        messages.success(request, _("Noted. The clocks are fitted anew; that takes a moment."))
    return redirect(_here(row))


# --- the same moment in two views ----------------------------------------------------------------


@require_http_methods(["GET", "HEAD", "POST"])
def tie_two(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Two views' frames side by side; a frame in each says: the same moment."""
    row = filmed_recording(request, pk)
    others = _others(request, row)
    if request.method == "POST":
        return _place_two(request, row, others)
    other = _chosen(request, row, others)
    context = {"recording": row, "clinic": row.station.clinic, "others": others, "other": other}
    if other is not None:
        context |= _two(request, row, other)
    return render(request, "clinics/tie_two.html", context)


def _others(request: SignedInRequest, row: Recording) -> QuerySet[Recording]:
    """The clinic's other recordings of which the person may see pictures."""
    rows = Recording.objects.handled_by(request.user).exclude(pk=row.pk)
    rows = rows.filter(station__clinic=row.station.clinic, state=Recording.State.READY)
    rows = rows.select_related("station__clinic", "camera", "frame_table", "clock_fit")
    opened = [other.pk for other in rows if pictures_open_to(other, request.user)]
    return rows.filter(pk__in=opened).order_by("station__order", "camera__name", "order")


def _chosen(
    request: SignedInRequest, row: Recording, others: QuerySet[Recording]
) -> Recording | None:
    """The one asked for, else a sure one that ran at this instant, else the first."""
    form = TwoForm(others, {"other": request.GET.get("other"), "frame": 0, "other_frame": 0})
    if form.is_valid():
        return form.cleaned_data["other"]  # type: ignore[no-any-return]
    place = place_asked_for(row, table_of(row), LookForm(request.GET))
    sure = [other for other in others if clock_of(other) and other.clock_fit.state == "sure"]
    ran = [other for other in sure if ran_at_once(row, place.media_s, other)]
    return next(iter([*ran, *sure]), None) or others.first()


def _two(request: SignedInRequest, row: Recording, other: Recording) -> dict[str, Any]:
    frames, other_frames = table_of(row), table_of(other)
    here = place_asked_for(row, frames, LookForm(request.GET))
    asked = LookForm({"frame": request.GET.get("other_frame"), "step": request.GET.get("step_two")})
    asked.is_valid()
    number = asked.cleaned_data.get("frame")
    if number is None:
        number = same_instant(row, here.media_s, other, other_frames)
    there = place_at(other, other_frames, number + (asked.cleaned_data.get("step") or 0))
    return {
        "views": [
            _view("frame", row, here, len(frames), f"&other={other.pk}&other_frame={there.frame}"),
            _view(
                "other_frame",
                other,
                there,
                len(other_frames),
                f"&other={other.pk}&frame={here.frame}",
            ),
        ],
        "place": here,
        "run_frames": RUN_FRAMES,
    }


def _view(name: str, row: Recording, place: Place, count: int, rest: str) -> dict[str, Any]:
    """One of the two: `name` is its field, `rest` what a link keeps of the other."""
    kept = [tuple(pair.split("=")) for pair in rest.lstrip("&").split("&")]
    return {
        "name": name,
        "recording": row,
        "place": place,
        "last_frame": count - 1,
        "rest": rest,
        "kept": kept,
    }


def _place_two(
    request: SignedInRequest, row: Recording, others: QuerySet[Recording]
) -> HttpResponse:
    form = TwoForm(others, request.POST)
    here = reverse("clinics:tie-two", args=[row.pk])
    if not form.is_valid():
        messages.error(request, _("Choose another view, and a frame in each."))
        return redirect(here)
    said = form.cleaned_data
    other, number, other_number = said["other"], said["frame"], said["other_frame"]
    back = f"{here}?other={other.pk}&frame={number}&other_frame={other_number}"
    table, other_table = table_of(row), table_of(other)
    shown = number < len(table) and other_number < len(other_table)
    if not shown or table[number] in Hidden(row) or other_table[other_number] in Hidden(other):
        messages.error(request, _("Choose another view, and a frame in each."))
        return redirect(back)
    try:
        place_same_moment(
            recording=row,
            pts_ticks=int(table[number]),
            other=other,
            other_ticks=int(other_table[other_number]),
            by=request.user,
        )
        _fit_again(request, row)
    except BadInput as problem:
        messages.error(request, str(in_words(problem)))
        return redirect(back)
    messages.success(request, _("Tied: these two frames show the same moment."))
    return redirect(f"{_here(row)}?frame={number}")
