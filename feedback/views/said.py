"""Saying, replying, editing and giving. Each posts without script; with htmx the column of
comments comes back alone, so that the picture stays where it is."""

from __future__ import annotations

import uuid
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from clinics.actions.check import give_swim
from clinics.models import Swim
from feedback.actions import say
from feedback.actions.frames import FrameUnknown, frame_at
from feedback.forms import SayForm, WordsForm
from feedback.models import Comment
from feedback.views.swim import page_of, swim_for
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422


def _answer(request: SignedInRequest, swim: Swim, said: Comment) -> HttpResponse:
    """The column with what was said, or the page at the frame it was said about."""
    if request.htmx:  # type: ignore[attr-defined]
        return render(request, "feedback/_said.html", page_of(request, swim, said.sent_at))
    return HttpResponseRedirect(_place_of(request, swim, said))


def _place_of(request: SignedInRequest, swim: Swim, said: Comment) -> str:
    url = reverse("feedback:swim", args=[swim.pk])
    root = said.reply_to or said
    clips = swim.clips.visible_to(request.user).select_related("recording")
    for clip in clips.filter(recording=root.recording) if root.recording_id else ():
        frame = frame_at(clip, root.pts_ticks or 0)
        if frame is not None:
            url += "?" + urlencode({"view": clip.pk, "at": frame})
            break
    return f"{url}#said-{said.pk}"


@require_POST
def say_something(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = swim_for(request, pk)
    form = SayForm(request.POST, swim=swim, user=request.user)
    if form.is_valid():
        told = form.cleaned_data
        try:
            said = say.say(
                swim=swim,
                by=request.user,
                text=told["text"],
                clip=told["clip"],
                frame=told["frame"],
            )
            return _answer(request, swim, said)
        except FrameUnknown:
            form.add_error(
                None, _("The list of this recording's frames is gone. Say it about the whole swim.")
            )
    template = "feedback/_said.html" if request.htmx else "feedback/swim.html"  # type: ignore[attr-defined]
    page = page_of(request, swim, None, form)
    return render(request, template, page, status=NOT_ACCEPTABLE)


@require_POST
def reply_to(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    to = get_object_or_404(Comment.objects.visible_to(request.user), pk=pk)
    swim = swim_for(request, to.swim_id)
    form = WordsForm(request.POST)
    if not form.is_valid():
        return _words_again(request, swim, form, reverse("feedback:reply", args=[pk]))
    to.swim = swim
    said = say.reply(to=to, by=request.user, text=form.cleaned_data["text"])
    return _answer(request, swim, said)


@require_http_methods(["GET", "HEAD", "POST"])
def edit_own(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    mine = Comment.objects.visible_to(request.user).filter(author=request.user)
    comment = get_object_or_404(mine, pk=pk)
    swim = swim_for(request, comment.swim_id)
    here = reverse("feedback:edit", args=[pk])
    if request.method != "POST":
        return _words_again(request, swim, WordsForm(initial={"text": comment.text}), here, 200)
    form = WordsForm(request.POST)
    if not form.is_valid():
        return _words_again(request, swim, form, here)
    comment.swim = swim
    say.edit(comment=comment, by=request.user, text=form.cleaned_data["text"])
    return redirect(_place_of(request, swim, comment))


def _words_again(
    request: SignedInRequest, swim: Swim, form: WordsForm, url: str, status: int = NOT_ACCEPTABLE
) -> HttpResponse:
    """A page with the words alone: to edit them, or to mend what was not accepted."""
    context = {"swim": swim, "form": form, "url": url}
    return render(request, "feedback/words.html", context, status=status)


@require_POST
def give(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = get_object_or_404(Swim.objects.coached_by(request.user), pk=pk)
    give_swim(swim=swim, by=request.user)
    messages.success(request, _("Given. The swimmer gets a mail."))
    return redirect("feedback:swim", pk=pk)
