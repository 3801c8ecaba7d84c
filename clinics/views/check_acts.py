"""What a checker does on the board: confirm, nobody else, pass on, swap two, undo.

Every button posts without script and comes back to the row. The board's script says so with
`X-Board` and gets only the rows that were touched, so that nothing moves on the page.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from clinics.actions import board as acts
from clinics.actions.check_rows import CheckRefused
from clinics.actions.pass_on import pass_swims
from clinics.models import BoardAct, Clinic, Swim
from clinics.views.check_board import board_of, swims_to_check
from clinics.views.check_cells import CARD_BEFORE_S, column_views
from clinics.views.check_told import told
from clinics.views.who import me

HOW = {"card": "number", "face": "face"}
ACTS_SHOWN = 50


def clinic_to_check(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    clinics = Clinic.objects.checked_by(me(request)).select_related("club")
    return get_object_or_404(clinics, pk=pk)


class ChosenForm(forms.Form):
    """Which rows, and what with them. `word` is "card" for the rows that are ticked, or
    "card:<swim>" for one row, whatever is ticked."""

    swim = forms.ModelMultipleChoiceField(
        Swim.objects.none(),
        error_messages={"required": gettext_lazy("Choose one or more rows first.")},
    )

    def __init__(self, request: HttpRequest, clinic: Clinic, word: str) -> None:
        self.what, _colon, one = word.partition(":")
        super().__init__({"swim": [one] if one else request.POST.getlist("swim")})
        mine = Swim.objects.handled_by(me(request)).filter(entry__clinic=clinic)
        chosen = mine.select_related("entry__clinic", "entry__swimmer").order_by("start_at")
        self.fields["swim"].queryset = chosen  # type: ignore[attr-defined]

    def swims(self) -> list[Swim]:
        return list(self.cleaned_data["swim"]) if self.is_valid() else []

    def wrong(self) -> str:
        return " ".join(str(said) for errors in self.errors.values() for said in errors)


def back_to_board(
    request: HttpRequest, clinic: Clinic, swims: Iterable[Swim] | None
) -> HttpResponse:
    """To the rows that were touched; None: it may be any of them."""
    url = reverse("clinics:check", args=[clinic.pk])
    touched = None if swims is None else [str(swim.pk) for swim in swims]
    if request.headers.get("X-Board"):
        rows = "all" if touched is None else ",".join(touched)
        return redirect(f"{url}?{urlencode({'rows': rows})}")
    return redirect(f"{url}#swim-{touched[0]}" if touched else url)


# --- person, others, passing on ------------------------------------------------------------------


@require_POST
def check_confirm(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """One tap: the card says so, known by face, or nobody else; one row or those chosen."""
    clinic = clinic_to_check(request, pk)
    form = ChosenForm(request, clinic, request.POST.get("how", ""))
    swims = form.swims()
    if not swims:
        messages.error(request, form.wrong())
        return back_to_board(request, clinic, [])
    try:
        if form.what == "nobody":
            acts.nobody_else(swims=swims, by=me(request))
        elif form.what in HOW:
            acts.confirm_many(swims=swims, by=me(request), how=HOW[form.what])
    except CheckRefused as refusal:
        messages.warning(request, " ".join(refusal.reasons))
    return back_to_board(request, clinic, swims)


@require_POST
def check_pass(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Pass on one, those chosen, the ready ones of a lane group, or all that are ready."""
    clinic = clinic_to_check(request, pk)
    swims = _to_pass(request, clinic)
    passed, refused = pass_swims(swims=swims, by=me(request))
    if passed or not refused:
        words = ngettext(
            "%(count)d swim passed to the coaches.",
            "%(count)d swims passed to the coaches.",
            len(passed),
        )
        messages.success(request, words % {"count": len(passed)})
    for one in refused:
        messages.warning(request, f"{one.swim.entry.swimmer}: {' '.join(one.reasons)}")
    return back_to_board(request, clinic, swims)


def _to_pass(request: HttpRequest, clinic: Clinic) -> list[Swim]:
    """As the board counted them, where it counted."""
    which = request.POST.get("which", "ready")
    if which == "ready" or which.startswith("group:"):
        ready = list(board_of(clinic, me(request)).ready)
        group = which.partition(":")[2]
        return [s for s in ready if not group or str(s.entry.lane_group_id) == group]
    form = ChosenForm(request, clinic, "pass" if which == "chosen" else f"pass:{which}")
    if not form.swims():
        messages.error(request, form.wrong())
    return form.swims()


# --- swap and undo -------------------------------------------------------------------------------


def check_swap(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Both swims side by side first; then one act for all stations."""
    clinic = clinic_to_check(request, pk)
    asked = request.POST.getlist("swim") or request.GET.getlist("swim")
    both = [s for s in swims_to_check(clinic, me(request)) if str(s.pk) in asked]
    if len(both) != 2:
        messages.warning(request, _("Choose two rows to swap."))
        return back_to_board(request, clinic, both)
    if request.method != "POST" or not request.POST.get("sure"):
        return _show_swap(request, clinic, both)
    try:
        acts.swap_swimmers(one=both[0], other=both[1], by=me(request))
    except CheckRefused as refusal:
        messages.warning(request, " ".join(refusal.reasons))
    else:
        names = {"one": both[0].entry.swimmer.name, "other": both[1].entry.swimmer.name}
        messages.success(
            request, _("%(one)s and %(other)s are swapped. Look who is who once more.") % names
        )
    return back_to_board(request, clinic, both)


def _show_swap(request: HttpRequest, clinic: Clinic, both: list[Swim]) -> HttpResponse:
    context: dict[str, Any] = {"clinic": clinic, "both": both, "columns": column_views(both)}
    context["card_before_s"] = int(CARD_BEFORE_S)
    context["spoken"] = [swim for swim in both if swim.passed_at is not None]
    with timezone.override(clinic.zone):
        return render(request, "clinics/check_swap.html", context)


def check_undo(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """What was done on this board, newest first; each can be taken back if nothing followed."""
    clinic = clinic_to_check(request, pk)
    done = BoardAct.objects.filter(clinic=clinic).select_related("by").order_by("-at", "-pk")
    if request.method != "POST":
        context = {"clinic": clinic, "acts": told(list(done[:ACTS_SHOWN]))}
        with timezone.override(clinic.zone):
            return render(request, "clinics/check_undone.html", context)
    asked = _uuid(request.POST.get("act", ""))
    act = done.filter(pk=asked).first() if asked else None
    if act is None:
        messages.warning(request, _("Nothing to undo."))
    else:
        _undo(request, act)
    return back_to_board(request, clinic, None)


def _undo(request: HttpRequest, act: BoardAct) -> None:
    try:
        acts.undo(act=act, by=me(request))
    except CheckRefused as refusal:
        messages.warning(request, " ".join(refusal.reasons))
    else:
        (was,) = told([act])
        messages.success(request, _("Undone: %(sentence)s") % {"sentence": was.sentence})


def _uuid(word: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(word)
    except ValueError:
        return None
