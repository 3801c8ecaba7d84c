"""The check board and one swim on it: who is it, who else, pass it on."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from clinics.actions import check as acts
from clinics.models import Clinic, Swim
from clinics.views.check_board import board_of, swims_to_check, view_of
from clinics.views.check_form import CheckForm
from clinics.views.who import me


def _clinic(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    clinics = Clinic.objects.checked_by(me(request)).select_related("club")
    return get_object_or_404(clinics, pk=pk)


@require_safe
def check(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    board = board_of(clinic, me(request))
    with timezone.override(clinic.zone):
        return render(request, "clinics/check.html", {"clinic": clinic, "board": board})


@require_POST
def check_pass(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Pass on all that are ready, as the board counted them."""
    clinic = _clinic(request, pk)
    ready = board_of(clinic, me(request)).ready
    passed, refused = acts.pass_swims(swims=ready, by=me(request))
    _say_passed(request, len(passed))
    for one in refused:
        messages.warning(request, f"{one.swim.entry.swimmer}: {' '.join(one.reasons)}")
    return redirect("clinics:check", pk=clinic.pk)


def _say_passed(request: HttpRequest, count: int) -> None:
    told = ngettext(
        "%(count)d swim passed to the coaches.", "%(count)d swims passed to the coaches.", count
    )
    messages.success(request, told % {"count": count})


@require_POST
def check_done(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = acts.mark_checked(clinic=_clinic(request, pk), by=me(request))
    messages.success(request, _("Marked as checked. Crew no longer see what they brought in."))
    return redirect("clinics:check", pk=clinic.pk)


# --- one swim -----------------------------------------------------------------------------------


def check_swim(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    mine = Swim.objects.handled_by(me(request)).select_related("entry__clinic", "entry__swimmer")
    swim = get_object_or_404(mine, pk=pk)
    form = CheckForm(request.POST or None, swim=swim)
    if request.method == "POST" and form.is_valid():
        found = form.found()
        try:
            kept = acts.look_at(swim=swim, by=me(request), **found)
        except acts.CheckRefused as refusal:
            form.add_error(None, " ".join(refusal.reasons))
        else:
            return _after_look(request, swim, form, kept)
    return _show_swim(request, swim, form)


def _after_look(
    request: HttpRequest, swim: Swim, form: CheckForm, kept: acts.NotPassed | None
) -> HttpResponse:
    """On to the next swim that needs a look, unless this one does still."""
    name = swim.entry.swimmer.name
    if entry := form.found().get("entry"):
        told = _("The swim is %(name)s's now. Look at it as theirs.") % {"name": entry.swimmer}
        messages.success(request, told)
        still_mine = Swim.objects.handled_by(me(request)).filter(pk=swim.pk)
        if still_mine.exists():
            return redirect("clinics:check-swim", pk=swim.pk)
    elif kept is not None:
        messages.warning(request, _("Noted, and not passed on. ") + " ".join(kept.reasons))
        return redirect("clinics:check-swim", pk=swim.pk)
    elif form.cleaned_data["then"] == "pass":
        messages.success(request, _("%(name)s: passed to the coaches.") % {"name": name})
    else:
        messages.success(request, _("%(name)s: noted.") % {"name": name})
    following = _next_to_look_at(request, swim)
    if following is None:
        return redirect("clinics:check", pk=swim.entry.clinic_id)
    return redirect("clinics:check-swim", pk=following.pk)


def _in_order(request: HttpRequest, swim: Swim) -> list[Swim]:
    clinic_swims = Swim.objects.filter(entry__clinic_id=swim.entry.clinic_id)
    return list(clinic_swims.handled_by(me(request)).order_by("start_at", "pk"))


def _next_to_look_at(request: HttpRequest, swim: Swim) -> Swim | None:
    swims = _in_order(request, swim)
    begin = next((i for i, one in enumerate(swims) if one.pk == swim.pk), -1) + 1
    rest = [one for one in swims[begin:] + swims[:begin] if one.pk != swim.pk]
    return next((one for one in rest if one.passed_at is None), None)


def _show_swim(request: HttpRequest, swim: Swim, form: CheckForm) -> HttpResponse:
    clinic = swim.entry.clinic
    shown = next(one for one in swims_to_check(clinic, me(request)) if one.pk == swim.pk)
    swims = _in_order(request, swim)
    place = next(i for i, one in enumerate(swims) if one.pk == swim.pk)
    near, others = form.people()
    context = {
        "clinic": clinic,
        "swim": shown,
        "form": form,
        "views": [view_of(clip) for clip in shown.clips.all()],
        "reasons": acts.reasons_not_to_pass(shown, acts.who_agrees([shown])),
        "passed_whole": acts.is_passed_whole(shown),
        "near": near,
        "others": others,
        "others_open": any(person["chosen"] for person in others),
        "place": place + 1,
        "count": len(swims),
        "before": swims[place - 1] if place else None,
        "after": swims[place + 1] if place + 1 < len(swims) else None,
    }
    with timezone.override(clinic.zone):
        return render(request, "clinics/check_swim.html", context)


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
    acts.close_clinic(clinic=clinic, by=me(request))
    messages.success(request, _("%(name)s is closed.") % {"name": clinic.name})
    return redirect("clinics:clinic", pk=clinic.pk)
