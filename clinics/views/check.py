"""The check board of a clinic as a page; what a swimmer says of a swim; the end of a clinic."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from clinics.actions import check as acts
from clinics.actions import open_again as acts_again
from clinics.actions.board import last_act
from clinics.actions.close_clinic import close_clinic, mark_checked
from clinics.models import Clinic, Swim
from clinics.views.check_acts import clinic_to_check
from clinics.views.check_board import board_of
from clinics.views.check_cells import CARD_BEFORE_S
from clinics.views.check_told import told
from clinics.views.progress import progress_context
from clinics.views.who import me

ROWS_AT_ONCE = 40  # of the rows whose clips are being made, asked after in one go


@require_safe
def check(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The board; with `rows` only what may have changed, for the board's script."""
    clinic = clinic_to_check(request, pk)
    board = board_of(clinic, me(request))
    last = last_act(clinic, me(request))
    context: dict[str, Any] = {
        "clinic": clinic,
        "board": board,
        "last_act": told([last])[0] if last else None,
        "rows_at_once": ROWS_AT_ONCE,
        "card_before_s": int(CARD_BEFORE_S),
    }
    asked = request.GET.get("rows", "")
    if not asked:
        context |= progress_context(clinic, may_stop=False)
    else:
        rows = asked.split(",")
        context["rows"] = [r for r in board.rows() if asked == "all" or str(r.swim.pk) in rows]
    with timezone.override(clinic.zone):
        template = "clinics/check_fresh.html" if asked else "clinics/check.html"
        return render(request, template, context)


@require_POST
def check_done(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = mark_checked(clinic=clinic_to_check(request, pk), by=me(request))
    messages.success(request, _("Marked as checked. Crew no longer see what they brought in."))
    return redirect("clinics:check", pk=clinic.pk)


# --- the swimmer, and the end --------------------------------------------------------------------


def not_me(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The swimmer says that a swim shows somebody else; asked once more before it is hidden."""
    own = Swim.objects.visible_to(me(request)).filter(entry__swimmer__user=me(request).pk)
    swim = get_object_or_404(own.select_related("entry__clinic", "entry__swimmer"), pk=pk)
    if request.method != "POST":
        return render(request, "clinics/check_not_me.html", {"swim": swim})
    acts.not_me(swim=swim, by=me(request))
    messages.success(request, _("Thank you. The swim is hidden, and the checker looks who it is."))
    return redirect("portal:home")


def close(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The club's admin closes a clinic, after reading what that does."""
    clinic = get_object_or_404(Clinic.objects.run_by(me(request)), pk=pk)
    if request.method != "POST":
        left = Swim.objects.filter(entry__clinic=clinic, passed_at__isnull=True).count()
        context = {"clinic": clinic, "left": left}
        with timezone.override(clinic.zone):
            return render(request, "clinics/check_close.html", context)
    close_clinic(clinic=clinic, by=me(request))
    messages.success(request, _("%(name)s is closed.") % {"name": clinic.name})
    return redirect("clinics:clinic", pk=clinic.pk)


@require_POST
def open_again(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = get_object_or_404(Clinic.objects.run_by(me(request)), pk=pk)
    acts_again.open_again(clinic=clinic, by=me(request))
    messages.success(request, _("%(name)s is open again.") % {"name": clinic.name})
    return redirect("clinics:clinic", pk=clinic.pk)
