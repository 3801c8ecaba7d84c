"""Moving a clip's ends, and cutting one by hand. Each comes back to where it was asked."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from clinics.actions import board
from clinics.models import Clip, Recording, Swim
from clinics.views.check_lane import NUDGES
from clinics.views.who import me


class EndsForm(forms.Form):
    """`was`: the frames that the page showed, so that nobody moves what another moved."""

    first_frame = forms.IntegerField(min_value=0, label=gettext_lazy("First frame"))
    last_frame = forms.IntegerField(min_value=0, label=gettext_lazy("Last frame"))
    was = forms.CharField(required=False)


class NudgeForm(forms.Form):
    frames = forms.TypedChoiceField(choices=[(n, n) for n in NUDGES], coerce=int)
    was = forms.CharField(required=False)


class CutForm(forms.Form):
    first_frame = forms.IntegerField(min_value=0, label=gettext_lazy("First frame"))
    last_frame = forms.IntegerField(min_value=0, label=gettext_lazy("Last frame"))
    pass_no = forms.IntegerField(
        required=False, min_value=1, max_value=60, label=gettext_lazy("Pass")
    )
    recording = forms.ModelChoiceField(
        Recording.objects.none(),
        label=gettext_lazy("Recording"),
        error_messages={"invalid_choice": gettext_lazy("Choose one of the recordings.")},
    )


def was_words(clip: Clip) -> str:
    """What a page shows of a clip's ends, to be compared when something is asked of it."""
    return f"{clip.recording_id}:{clip.first_frame}:{clip.frame_count}"


def _clip(request: HttpRequest, pk: uuid.UUID) -> Clip:
    mine = Clip.objects.handled_by(me(request))
    rows = mine.select_related("swim__entry__swimmer", "recording__station__clinic")
    return get_object_or_404(rows, pk=pk)


@require_POST
def clip_ends(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clip, form = _clip(request, pk), EndsForm(request.POST)
    if not form.is_valid():
        return _wrong(request, form, _back(clip.swim_id, clip))
    first, last = form.cleaned_data["first_frame"], form.cleaned_data["last_frame"]
    moved = first - clip.first_frame
    if moved and last - first + 1 == clip.frame_count:  # as long as before: it was moved whole
        return _do(
            request, clip, form, lambda: board.nudge(clip=clip, frames=moved, by=me(request))
        )
    return _do(
        request,
        clip,
        form,
        lambda: board.set_ends(clip=clip, first_frame=first, last_frame=last, by=me(request)),
    )


@require_POST
def clip_nudge(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clip, form = _clip(request, pk), NudgeForm(request.POST)
    if not form.is_valid():
        return _wrong(request, form, _back(clip.swim_id, clip))
    return _nudge(request, clip, form, form.cleaned_data["frames"])


def _nudge(request: HttpRequest, clip: Clip, form: forms.Form, frames: int) -> HttpResponse:
    return _do(request, clip, form, lambda: board.nudge(clip=clip, frames=frames, by=me(request)))


@require_POST
def cut(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    mine = Swim.objects.handled_by(me(request)).select_related("entry__clinic", "entry__swimmer")
    swim = get_object_or_404(mine, pk=pk)
    form = CutForm(request.POST)
    recordings = Recording.objects.handled_by(me(request)).filter(
        station__clinic=swim.entry.clinic_id
    )
    form.fields["recording"].queryset = recordings  # type: ignore[attr-defined]
    if not form.is_valid():
        return _wrong(request, form, _back(swim.pk, None))
    try:
        act = board.cut_by_hand(swim=swim, by=me(request), **_cut_as_said(form))
    except board.CheckRefused as refusal:
        messages.error(request, " ".join(refusal.reasons))
        return redirect(_back(swim.pk, None))
    messages.success(request, _("Cut by hand. The clip is being made."))
    return redirect(_back(swim.pk, Clip.objects.get(pk=act.facts["clip"])))


def _cut_as_said(form: CutForm) -> dict[str, Any]:
    names = ("recording", "first_frame", "last_frame", "pass_no")
    return {name: form.cleaned_data[name] for name in names}


def _do(
    request: HttpRequest, clip: Clip, form: forms.Form, act: Callable[[], object]
) -> HttpResponse:
    here = _back(clip.swim_id, clip)
    if form.cleaned_data["was"] not in ("", was_words(clip)):
        messages.error(
            request,
            _("This clip was moved meanwhile, by somebody else or by a better clock. Look again."),
        )
        return redirect(here)
    try:
        act()
    except board.CheckRefused as refusal:
        messages.error(request, " ".join(refusal.reasons))
    else:
        messages.success(
            request, _("Moved. Only this clip is made again; it stays where you put it.")
        )
    return redirect(here)


def _wrong(request: HttpRequest, form: forms.Form, here: str) -> HttpResponse:
    for name, errors in form.errors.items():
        label = form.fields[name].label if name in form.fields else ""
        words = " ".join(str(sentence) for sentence in errors)
        messages.error(request, f"{label}: {words}" if label else words)
    return redirect(here)


def _back(swim_pk: uuid.UUID, clip: Clip | None) -> str:
    """To the clip, with its ends open as they were; or to where clips are cut by hand."""
    page = reverse("clinics:check-swim", args=[swim_pk])
    return f"{page}?ends={clip.pk}#clip-{clip.pk}" if clip else f"{page}?cut=1#cut"
