"""How far the clips of a clinic are: a piece of page that keeps itself up to date."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from clinics.actions.progress import Progress, progress_of, stop_making
from clinics.models import Clinic
from portal.requests import SignedInRequest
from portal.views.jobs import time_left


@require_safe
def progress(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The same piece as on the clinic's page and the check board."""
    clinic = get_object_or_404(Clinic.objects.visible_to(request.user), pk=pk)
    may_stop = Clinic.objects.worked_by(request.user).filter(pk=pk).exists()
    return render(request, "clinics/progress.html", progress_context(clinic, may_stop=may_stop))


@require_POST
def stop(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = get_object_or_404(Clinic.objects.worked_by(request.user).select_related("club"), pk=pk)
    count = stop_making(clinic=clinic, by=request.user)
    told = ngettext(
        "Stopped: %(n)d clip is not made for now.",
        "Stopped: %(n)d clips are not made for now.",
        count,
    )
    messages.success(request, told % {"n": count})
    return redirect("clinics:clinic", pk=pk)


def progress_context(clinic: Clinic, *, may_stop: bool) -> dict[str, Any]:
    """What the piece of page needs, wherever it stands."""
    found = progress_of(clinic)
    return {
        "clinic": clinic,
        "progress": found,
        "progress_words": words(found),
        "may_stop": may_stop and found.making > 0,
    }


def words(found: Progress) -> str:
    """What is under way, in one or two short sentences."""
    if found.stopped and not found.more_to_come:
        return _("Stopped. Cut again to make the rest.")
    parts = []
    if found.reading:
        told = ngettext(
            "%(n)d recording is being read.", "%(n)d recordings are being read.", found.reading
        )
        parts.append(told % {"n": found.reading})
    if found.aligning:
        parts.append(_("The clocks are being fitted."))
    if found.looking and not (found.reading or found.making):
        told = ngettext(
            "%(n)d recording is being looked through.",
            "%(n)d recordings are being looked through.",
            found.looking,
        )
        parts.append(told % {"n": found.looking})
    if found.busy and (found.making or found.reading or found.looking):
        parts.append(_left(found))
    return " ".join(parts)


def _left(found: Progress) -> str:
    left = time_left(found.seconds_left)
    if not left:
        return _("How long it takes is not known yet.")
    if found.more_to_come:
        return _("For what is known so far: %(left)s.") % {"left": left}
    return _("All of it: %(left)s.") % {"left": left}
