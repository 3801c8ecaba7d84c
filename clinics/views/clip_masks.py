"""Covering an area in one clip, from frame to frame. Each act comes back to the clip."""

from __future__ import annotations

import uuid

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinics.actions.check_rows import CheckRefused
from clinics.actions.masks import cover_clip, uncover_clip
from clinics.models import Clip, ClipMask
from clinics.views.mask_forms import ClipMaskForm
from clinics.views.who import me


@require_POST
def clip_cover(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    mine = Clip.objects.handled_by(me(request))
    clip = get_object_or_404(mine.select_related("swim__entry__clinic"), pk=pk)
    form = ClipMaskForm(request.POST, clip=clip)
    if not form.is_valid():
        messages.error(request, _wrong(form))
        return redirect(_back(clip))
    names = ("first_frame", "last_frame", "covers")
    told = {name: form.cleaned_data[name] for name in names}
    try:
        cover_clip(clip=clip, area=form.area(), by=me(request), **told)
    except CheckRefused as refusal:
        messages.error(request, " ".join(refusal.reasons))
    else:
        messages.success(
            request, _("Covered. The clip is made again; then look at it and pass it on.")
        )
    return redirect(_back(clip))


@require_POST
def clip_mask_remove(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clips = Clip.objects.handled_by(me(request))
    rows = ClipMask.objects.filter(clip__in=clips).select_related("clip__swim__entry__clinic")
    mask = get_object_or_404(rows, pk=pk)
    try:
        uncover_clip(mask=mask, by=me(request))
    except CheckRefused as refusal:
        messages.error(request, " ".join(refusal.reasons))
    else:
        messages.success(
            request, _("Uncovered. The clip is made again; then look at it and pass it on.")
        )
    return redirect(_back(mask.clip))


def _wrong(form: forms.Form) -> str:
    told = [
        f"{form.fields[name].label}: {' '.join(str(sentence) for sentence in errors)}"
        for name, errors in form.errors.items()
    ]
    return " ".join(told)


def _back(clip: Clip) -> str:
    page = reverse("clinics:check-swim", args=[clip.swim_id])
    return f"{page}?masks={clip.pk}#clip-{clip.pk}"
