"""What was said as captions of one view's film (WebVTT). Only what the viewer may read; no
drafts; notes among coaches only where a coach asks for them."""

from __future__ import annotations

import uuid

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from clinics.models import Clip
from feedback.actions.captions import captions_of
from feedback.views.swim import swim_for
from portal.requests import SignedInRequest


@require_safe
def captions(request: SignedInRequest, pk: uuid.UUID, clip: uuid.UUID) -> HttpResponse:
    swim = swim_for(request, pk)
    clips = Clip.objects.visible_to(request.user).filter(swim=swim)
    found = get_object_or_404(clips.select_related("station", "recording__clock_fit"), pk=clip)
    name = f"{found.station.slug}-{found.pass_no}.vtt"
    return HttpResponse(
        captions_of(found, swim, request.user, notes=request.GET.get("notes") == "1"),
        content_type="text/vtt; charset=utf-8",
        headers={
            "Content-Disposition": content_disposition_header(True, name) or "",
            "Cache-Control": "private, no-store",
            "X-Content-Type-Options": "nosniff",
        },
    )
