"""Starts that were heard and nobody logged: whose are they?"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from clinics.actions import heard_starts as acts
from clinics.actions.dropped import pictures_open_to
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.heard_starts import Proposal
from clinics.actions.index import frames_of
from clinics.compute.time import clinic_instant, media_s_at, media_s_to_ticks
from clinics.media.errors import MediaError
from clinics.models import Clinic, Entry, HeardStart, Recording, Station
from clinics.views.recording_frames import Hidden
from clinics.views.words import in_words
from portal.requests import SignedInRequest

CARD_BEFORE_S = 1.0  # the number card is shown to the start camera until about then
UNDO_KEPT = 30  # steps back that a session remembers


@require_http_methods(["GET", "HEAD", "POST"])
def heard_starts(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = get_object_or_404(Clinic.objects.worked_by(request.user).select_related("club"), pk=pk)
    if request.method == "POST":
        return _act(request, clinic)
    proposals = acts.proposals_of(clinic)
    stills = _Stills(request, clinic, proposals)
    context = {
        "clinic": clinic,
        "lines": [Line(one, stills.of(one.heard)) for one in proposals],
        "entries": acts.entries_of(clinic),
        "starts": sum(one.is_start and one.entry is not None for one in proposals),
        "nobody_left": sum(one.is_start and one.entry is None for one in proposals),
        "taken": acts.taken_count(clinic),
        "can_undo": bool(_undo_steps(request, clinic)),
    }
    with timezone.override(clinic.zone):
        return render(request, "clinics/heard_starts.html", context)


@dataclass(frozen=True)
class Still:
    """A picture of a start camera, 1 s before the signal."""

    recording: Recording
    frame: int


@dataclass(frozen=True)
class Line:
    proposal: Proposal
    still: Still | None


class _Stills:
    """Where the start cameras that the person may see show a start."""

    def __init__(
        self, request: SignedInRequest, clinic: Clinic, proposals: Sequence[Proposal]
    ) -> None:
        rows = Recording.objects.handled_by(request.user).filter(
            station__clinic=clinic,
            station__kind=Station.Kind.START_SIDE,
            state=Recording.State.READY,
            clock_fit__zero_at__isnull=False,
        )
        rows = rows.select_related("station__clinic", "clock_fit", "frame_table")
        self.rows = [row for row in rows if proposals and pictures_open_to(row, request.user)]
        self.hidden = {row.pk: Hidden(row) for row in self.rows}
        self.tables: dict[uuid.UUID, Any] = {}

    def of(self, heard: HeardStart) -> Still | None:
        at = heard.instant - dt.timedelta(seconds=CARD_BEFORE_S)
        for row in self.rows:
            fit = row.clock_fit
            if fit.zero_at is None or not row.duration_s:
                continue
            if not fit.zero_at <= at <= clinic_instant(fit.zero_at, fit.rate_ppm, row.duration_s):
                continue
            table = self._table(row)
            ticks = media_s_to_ticks(media_s_at(fit.zero_at, fit.rate_ppm, at))
            number = min(int(np.searchsorted(table, ticks)), len(table) - 1) if len(table) else -1
            if number >= 0 and table[number] not in self.hidden[row.pk]:
                return Still(row, number)
        return None

    def _table(self, row: Recording) -> Any:
        if row.pk not in self.tables:
            try:
                self.tables[row.pk] = frames_of(row)
            except (BadInput, MediaError, FileNotFoundError):
                self.tables[row.pk] = np.empty(0, dtype=np.int64)
        return self.tables[row.pk]


# --- what is sent --------------------------------------------------------------------------------


def _act(request: SignedInRequest, clinic: Clinic) -> HttpResponse:
    """One button: `do` names it, with the start it is about after the colon."""
    what, _colon, which = request.POST.get("do", "").partition(":")
    here = reverse("clinics:heard-starts", args=[clinic.pk])
    try:
        if what == "take":
            return _take(request, clinic)
        if what == "give-back":
            _say_given_back(request, acts.give_back_heard_starts(clinic=clinic, by=request.user))
        elif what == "undo":
            _undo(request, clinic)
        else:
            heard = _heard(clinic, which)
            _shift(request, clinic, heard, what)
            here += f"#start-{heard.pk}"
    except BadInput as bad:
        messages.error(request, " ".join(in_words(bad).lines()))
    return redirect(here)


def _heard(clinic: Clinic, which: str) -> HeardStart:
    try:
        found = clinic.heard_starts.select_related("clinic__club", "entry").get(pk=which)
    except (HeardStart.DoesNotExist, ValidationError):
        raise BadInput([("", _("This start is gone: look at the list again."))]) from None
    return found


def _shift(request: SignedInRequest, clinic: Clinic, heard: HeardStart, what: str) -> None:
    before = (str(heard.pk), heard.state, str(heard.entry_id or ""))
    if what == "dismiss":
        acts.dismiss_heard_start(heard=heard, by=request.user)
    elif what == "name":
        entry = _entries(clinic).get(request.POST.get(f"who-{heard.pk}", ""))
        acts.choose_swimmer(heard=heard, entry=entry, by=request.user)
    else:
        acts.shift_names(heard=heard, how=what, by=request.user)
    _remember(request, clinic, before)


def _entries(clinic: Clinic) -> dict[str, Entry]:
    return {str(entry.pk): entry for entry in clinic.entries.all()}


def _take(request: SignedInRequest, clinic: Clinic) -> HttpResponse:
    """Confirm all at once, with the names as they stand on the page that was sent."""
    entries = _entries(clinic)
    choices = {}
    for one in acts.proposals_of(clinic):
        entry = entries.get(request.POST.get(f"who-{one.heard.pk}", ""))
        if one.is_start and entry is not None:
            choices[one.heard.pk] = entry
    lines = acts.take_heard_starts(clinic=clinic, choices=choices, by=request.user)
    _forget(request, clinic)
    told = ngettext(
        "%(n)s start stands in the start log now.",
        "%(n)s starts stand in the start log now.",
        len(lines),
    )
    messages.success(request, told % {"n": len(lines)})
    return redirect("clinics:heard-starts", pk=clinic.pk)


def _say_given_back(request: SignedInRequest, count: int) -> None:
    told = ngettext("%(n)s start is a proposal again.", "%(n)s starts are proposals again.", count)
    messages.success(request, told % {"n": count})


# --- steps back ----------------------------------------------------------------------------------


def _key(clinic: Clinic) -> str:
    return f"heard-starts-{clinic.pk}"


def _undo_steps(request: SignedInRequest, clinic: Clinic) -> list[tuple[str, str, str]]:
    return list(request.session.get(_key(clinic), []))


def _remember(request: SignedInRequest, clinic: Clinic, before: tuple[str, str, str]) -> None:
    request.session[_key(clinic)] = [*_undo_steps(request, clinic), before][-UNDO_KEPT:]


def _forget(request: SignedInRequest, clinic: Clinic) -> None:
    request.session.pop(_key(clinic), None)


def _undo(request: SignedInRequest, clinic: Clinic) -> None:
    steps = _undo_steps(request, clinic)
    if not steps:
        return
    which, state, entry = steps[-1]
    request.session[_key(clinic)] = steps[:-1]
    heard = _heard(clinic, which)
    if state == HeardStart.State.DISMISSED:
        acts.dismiss_heard_start(heard=heard, by=request.user)
    else:
        whose = _entries(clinic).get(entry)
        acts.choose_swimmer(heard=heard, entry=whose, by=request.user)
