"""The teaching shelf: clips by fault and remedy, for coaches of any club."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Prefetch, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from clinics.models import Clip, ClipFile, ShelfClip
from feedback.actions import shelf as acts
from feedback.showing_forms import ShelfForm
from feedback.views.films import films_of
from portal.models import Membership
from portal.requests import SignedInRequest
from portal.shell import memberships_of

NOT_ACCEPTABLE = 422
LISTED = 100


@require_safe
def shelf(request: SignedInRequest) -> HttpResponse:
    if not any(m.role == Membership.Role.COACH for m in memberships_of(request)):
        raise PermissionDenied
    asked = request.GET.get("q", "").strip()[:120]
    posters = ClipFile.objects.visible_to(request.user).filter(kind=ClipFile.Kind.POSTER)
    rows = acts.on_shelf_for(request.user).select_related(
        "clip__station", "clip__swim__entry__clinic__club"
    )
    if asked:
        rows = rows.filter(Q(fault__icontains=asked) | Q(remedy__icontains=asked))
    rows = rows.prefetch_related(Prefetch("clip__files", posters, to_attr="posters"))
    return render(request, "feedback/shelf.html", {"puts": rows[:LISTED], "asked": asked})


@require_safe
def shelf_clip(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    rows = acts.on_shelf_for(request.user).select_related(
        "clip__swim__entry__clinic__club", "put_by"
    )
    put = get_object_or_404(rows, pk=pk)
    acts.note_look(put=put, by=request.user)
    clips = Clip.objects.visible_to(request.user).filter(pk=put.clip_id)
    context = {
        "put": put,
        "entry": put.clip.swim.entry,
        "clinic": put.clip.swim.entry.clinic,
        "films": films_of(clips, ClipFile.objects.visible_to(request.user)),
        "may_end": acts.may_end(request.user).filter(pk=put.pk).exists(),
    }
    return render(request, "feedback/shelf_clip.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def shelf_put(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    rows = acts.coached_clips(request.user).select_related(
        "station", "swim__entry__swimmer", "swim__entry__clinic"
    )
    clip = get_object_or_404(rows, pk=pk)
    form = ShelfForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            put = acts.put_up(clip=clip, by=request.user, **form.cleaned_data)
        except acts.ShelfRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("It is on the shelf. The swimmer is told."))
            return redirect("feedback:shelf-clip", pk=put.pk)
    there = ShelfClip.objects.filter(clip=clip, ended_at__isnull=True).first()
    context = {"clip": clip, "swim": clip.swim, "form": form, "there": there}
    status = NOT_ACCEPTABLE if form.errors else 200
    return render(request, "feedback/shelf_put.html", context, status=status)
