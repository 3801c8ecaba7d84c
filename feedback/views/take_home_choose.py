"""A coach chooses what is on a take-home page, beside the page itself; gives it; takes it back."""

from __future__ import annotations

import uuid
from functools import cached_property
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from clinics.models import Swim
from feedback.actions.take_along import JOB_KIND, TooManyWaiting
from feedback.actions.take_home import NothingToGive, give_page, keep_choice, take_page_back
from feedback.actions.take_home_stills import ask_for_drawn, frames_without_still
from feedback.compute.take_home import MOST_MEASURES, MOST_STILLS, Choice, in_order, key_of
from feedback.take_home_form import TakeHomeForm
from feedback.views.measure_words import told
from feedback.views.room_data import views_of
from feedback.views.take_home import WITH_IT, changed_since, private, row_for
from feedback.views.take_home_page import (
    Known,
    before_of,
    choice_now,
    known_of,
    page_before_giving,
)
from feedback.views.take_home_words import names_with_ends
from portal.models import Job
from portal.requests import SignedInRequest
from portal.shell import stands_under

NOT_ACCEPTABLE = 422


class Choosing:
    """What the coach chooses from, and what is chosen now."""

    def __init__(self, request: SignedInRequest, pk: uuid.UUID) -> None:
        """Hidden and absent alike: 404."""
        swims = Swim.objects.coached_by(request.user).select_related(*WITH_IT)
        self.request, self.user = request, request.user
        self.swim = get_object_or_404(swims, pk=pk)
        self.row = row_for(self.swim, request)
        self.known = known_of(self.swim, self.user)
        self.proposed = choice_now(self.known, self.user, None)
        self.choice = choice_now(self.known, self.user, self.row)

    def form(self) -> TakeHomeForm:
        names = [(key, name) for key, name, _figure in measures_in(self.known)]
        return TakeHomeForm(
            self.request.POST,
            measures=names,
            stills=[(str(still.key), still.view) for still in self.known.stills],
            before=self.before,
        )

    @cached_property
    def before(self) -> str:
        """Last time's swim as it was chosen, while it is one; else as it would be proposed."""
        still_there = before_of(self.choice, self.swim, self.user) is not None
        return self.choice.before if still_there else self.proposed.before

    def context(self, choice: Choice, wrong: list[str]) -> dict[str, Any]:
        swim, row = self.swim, self.row
        unmade = [still.key for still in self.known.stills if not still.ready]
        jobs = Job.objects.filter(kind=JOB_KIND, subject_id__in=unmade, asked_by=self.user)
        return {
            "swim": swim,
            "entry": swim.entry,
            "clinic": swim.entry.clinic,
            "row": row,
            "changed": row is not None and row.given_at is not None and changed_since(swim, row),
            "page": page_before_giving(self.known, self.user, choice),
            "choice": choice,
            "measures": self.measures(choice),
            "stills": self.known.stills,
            "could_compare": choice.before or self.before,
            "drawn": len(frames_without_still(swim, self.user)),
            "jobs": jobs if unmade else [],
            "most_measures": MOST_MEASURES,
            "most_stills": MOST_STILLS,
            "wrong": wrong,
        }

    def measures(self, choice: Choice) -> dict[str, list[tuple[str, str, str]]]:
        """First what is chosen or would be proposed, then the others."""
        near = {*choice.measures, *self.choice.measures, *self.proposed.measures}
        found = measures_in(self.known)
        return {
            "near": [one for one in found if one[0] in near],
            "others": [one for one in found if one[0] not in near],
        }

    def answer(self, choice: Choice, wrong: list[str]) -> HttpResponse:
        """The page; for a script that has it already the preview alone."""
        alone = bool(self.request.htmx)  # type: ignore[attr-defined]
        name = "feedback/_take_home_preview.html" if alone else "feedback/take_home_choose.html"
        stands_under(self.request, "waiting")
        status = NOT_ACCEPTABLE if wrong else 200
        with timezone.override(self.swim.entry.clinic.zone):
            return render(self.request, name, self.context(choice, wrong), status=status)

    def refused(self, form: TakeHomeForm) -> HttpResponse:
        """What was ticked stays ticked, with the sentence that says what is wrong."""
        posted = self.request.POST
        ticked = Choice(
            tuple(posted.getlist("measures")),
            tuple(posted.getlist("stills")),
            form.before if "compare" in posted else "",
        )
        return self.answer(ticked, form.sentences())


def measures_in(known: Known) -> list[tuple[str, str, str]]:
    """Key, name, figure of all that was measured, in the order of the swim."""
    found = in_order(known.measures, course_m=known.swim.entry.clinic.course_m)
    names = names_with_ends(found, known.seen)
    told_of = {
        key_of(one): (key_of(one), name, told(one)) for one, name in zip(found, names, strict=True)
    }
    return list(told_of.values())


def _back(swim: Swim) -> HttpResponse:
    return HttpResponseRedirect(reverse("feedback:take-home-choose", args=[swim.pk]))


@private
@require_http_methods(["GET", "HEAD", "POST"])
def choose(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """What can be chosen beside the page; a POST keeps what is ticked."""
    choosing = Choosing(request, pk)
    if request.method != "POST":
        return choosing.answer(choosing.choice, [])
    form = choosing.form()
    if not form.is_valid():
        return choosing.refused(form)
    choosing.row = keep_choice(swim=choosing.swim, by=request.user, choice=form.choice())
    if request.htmx:  # type: ignore[attr-defined]
        return choosing.answer(form.choice(), [])
    return _back(choosing.swim)


@private
@require_POST
def give(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Give what is ticked."""
    choosing = Choosing(request, pk)
    form = choosing.form()
    if not form.is_valid():
        return choosing.refused(form)
    try:
        give_page(swim=choosing.swim, by=request.user, choice=form.choice())
    except NothingToGive:
        missing = _(
            "There is nothing to give yet: send one thing to try or a point, or choose a measure "
            "or a still."
        )
        return choosing.answer(form.choice(), [missing])
    name = choosing.swim.entry.swimmer.name
    messages.success(request, _("Given to %(name)s.") % {"name": name})
    return _back(choosing.swim)


@private
@require_POST
def take_back(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swims = Swim.objects.coached_by(request.user).select_related(*WITH_IT)
    swim = get_object_or_404(swims, pk=pk)
    take_page_back(swim=swim, by=request.user)
    messages.success(request, _("Taken back. What you chose stays here."))
    return _back(swim)


@private
@require_POST
def stills(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Keep what is ticked, and ask for a still of each frame that was drawn on."""
    choosing = Choosing(request, pk)
    form = choosing.form()
    if not form.is_valid():
        return choosing.refused(form)
    names = {view.key: view.name for view in views_of(choosing.swim, request.user)}
    try:
        asked = ask_for_drawn(
            swim=choosing.swim, by=request.user, names=names, choice=form.choice()
        )
    except TooManyWaiting:
        many = _("Several of yours are being made already. Wait until one is ready.")
        return choosing.answer(form.choice(), [many])
    said = ngettext("%(n)d still is being made.", "%(n)d stills are being made.", len(asked)) % {
        "n": len(asked)
    }
    messages.success(request, said if asked else _("There was no still to make."))
    return _back(choosing.swim)
