"""Keeping, sending and giving. Each posts without script; with htmx the column's part comes back
alone, so that the picture stays where it is."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinics.actions.give import give_swim
from clinics.models import Swim
from feedback.actions.feedback import (
    NothingToSend,
    WrittenMeanwhile,
    keep_words,
    send_feedback,
    stamp_of,
)
from feedback.feedback_form import FeedbackForm
from feedback.models import Feedback
from feedback.views.feedback import Panel, feedback_part, panel_of
from feedback.views.swim import page_of
from feedback.views.walk import in_queue, walk_of
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422


def _coached(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    swims = Swim.objects.coached_by(request.user)
    rows = swims.select_related("entry__swimmer", "entry__clinic__club", "given_by")
    return get_object_or_404(rows, pk=pk)


def _back(request: SignedInRequest, swim: Swim, *, send: bool = False) -> HttpResponse:
    """To the swim, at the words, on the same walk."""
    query = "&".join(
        part for part in (walk_of(request.GET, request.user).here, "send" * send) if part
    )
    url = reverse("feedback:swim", args=[swim.pk])
    return HttpResponseRedirect(f"{url}?{query}#feedback" if query else f"{url}#feedback")


@require_POST
def words(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Keep what was typed; `do=look`: and show what would be sent."""
    swim = _coached(request, pk)
    form = FeedbackForm(request.POST)
    if not form.is_valid():
        return _not_kept(request, swim, panel_of(request, swim, form=form))
    told = form.cleaned_data
    try:
        keep_words(
            swim=swim,
            by=request.user,
            one_thing=told["one_thing"],
            points=form.points(),
            stamp=told["stamp"],
        )
    except WrittenMeanwhile as error:
        return _not_kept(request, swim, _meanwhile(request, swim, error.kept))
    return _kept(request, swim)


def _kept(request: SignedInRequest, swim: Swim) -> HttpResponse:
    look = request.POST.get("do") == "look"
    if not request.htmx:  # type: ignore[attr-defined]
        return _back(request, swim, send=look)
    panel = panel_of(request, swim, about_to_send=look)
    return _part(request, swim, panel, whole=look)


def _meanwhile(request: SignedInRequest, swim: Swim, kept: Feedback) -> Panel:
    """What was typed stays; what the other wrote stands beside it; keeping again keeps this."""
    typed = request.POST.copy()
    typed["stamp"] = stamp_of(kept)
    return panel_of(request, swim, form=FeedbackForm(typed), meanwhile=kept)


def _not_kept(request: SignedInRequest, swim: Swim, panel: Panel) -> HttpResponse:
    if request.htmx:  # type: ignore[attr-defined]
        return _part(request, swim, panel, status=NOT_ACCEPTABLE)
    page = {**page_of(request, swim, None), **feedback_part(request, swim, panel)}
    return render(request, "feedback/swim.html", page, status=NOT_ACCEPTABLE)


def _part(
    request: SignedInRequest, swim: Swim, panel: Panel, *, whole: bool = False, status: int = 200
) -> HttpResponse:
    """The line that says what is kept, so that whoever types is not disturbed; or all of it."""
    context = {
        "swim": swim,
        "entry": swim.entry,
        "clinic": swim.entry.clinic,
        "coaching": True,
        **feedback_part(request, swim, panel),
    }
    template = "feedback/_feedback.html" if whole else "feedback/_kept.html"
    answer = render(request, template, context, status=status)
    if whole:
        answer["HX-Retarget"], answer["HX-Reswap"] = "#feedback", "outerHTML"
    return answer


@require_POST
def send(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Send what was shown; `then=next`: and go to the next swim of the walk."""
    swim = _coached(request, pk)
    walk = walk_of(request.GET, request.user)
    following = in_queue(swim, request.user, walk).next
    try:
        send_feedback(swim=swim, by=request.user, stamp=request.POST.get("stamp", ""))
    except NothingToSend:
        messages.info(request, _("There was nothing new to send."))
        return _back(request, swim)
    except WrittenMeanwhile:
        messages.warning(request, _("The words were changed meanwhile. Look at them, then send."))
        return _back(request, swim, send=True)
    messages.success(request, _("Sent to %(name)s.") % {"name": swim.entry.swimmer.name})
    if following is None or request.POST.get("then") != "next":
        return _back(request, swim)
    url = reverse("feedback:swim", args=[following.pk])
    return HttpResponseRedirect(f"{url}?{following.query}")


@require_POST
def give(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _coached(request, pk)
    give_swim(swim=swim, by=request.user)
    messages.success(request, _("Given. The swimmer gets a mail."))
    return _back(request, swim)
