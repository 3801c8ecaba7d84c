"""Saying, replying, editing, sending, taking back. Each posts without script; with htmx the
column of comments comes back alone, so that the picture stays where it is."""

from __future__ import annotations

import contextlib
import uuid
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from clinics.models import Swim
from feedback.actions import say, say_again
from feedback.actions.frames import FrameUnknown, frame_at
from feedback.actions.look import look
from feedback.forms import NOTE, NOW, EditForm, SayForm, WordsForm
from feedback.models import Comment, Phrase
from feedback.privacy import is_own
from feedback.views.coaching import coaches_here
from feedback.views.said_column import column_of
from feedback.views.swim import page_of, swim_for
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422
LEFT = "feedback/_said.html"


def _answer(request: SignedInRequest, swim: Swim, said: Comment | None) -> HttpResponse:
    """The column with what was said, or the page at the frame it was said about."""
    if request.htmx:  # type: ignore[attr-defined]
        return render(request, LEFT, column_of(request, swim))
    return HttpResponseRedirect(_place_of(request, swim, said))


def _place_of(request: SignedInRequest, swim: Swim, said: Comment | None) -> str:
    url = reverse("feedback:swim", args=[swim.pk])
    if said is None:
        return url
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
    data = _with_phrase(request, request.POST)
    form = SayForm(data, swim=swim, user=request.user)
    if data is not request.POST:  # a phrase was chosen, nothing is said yet
        return _form_again(request, swim, form, status=200)
    if form.is_valid():
        try:
            said = _say(request, swim, form)
            return _answer(request, swim, said)
        except FrameUnknown:
            form.add_error(
                None, _("The list of this recording's frames is gone. Say it about the whole swim.")
            )
    return _form_again(request, swim, form)


def _say(request: SignedInRequest, swim: Swim, form: SayForm) -> Comment:
    """A note by somebody who coaches nobody here is what they say to their coach."""
    as_coach = coaches_here(request, swim) and not is_own(request.user, swim)
    go = request.POST.get("go")
    return say.say(
        swim=swim,
        by=request.user,
        text=form.cleaned_data["text"],
        **form.anchor(),
        for_coaches=as_coach and go == NOTE,
        now=go == NOW,
        phrases=_ids(request.POST.getlist("used")) if as_coach else (),
        keep=as_coach and form.cleaned_data["keep"],
    )


def _ids(told: list[str]) -> list[uuid.UUID]:
    """Those that make sense, each once."""
    ids = set()
    for text in told[:100]:
        with contextlib.suppress(ValueError):
            ids.add(uuid.UUID(text))
    return list(ids)


def _with_phrase(request: SignedInRequest, data: QueryDict) -> QueryDict:
    """Without script a phrase's button sends the form: its words are put to what is written."""
    if "phrase" not in data:
        return data
    mine = Phrase.objects.filter(coach=request.user)
    phrase = mine.filter(pk__in=_ids(data.getlist("phrase"))).first()
    more = data.copy()
    if phrase is not None:
        more["text"] = "\n".join(part for part in (data.get("text", ""), phrase.text) if part)
        more["phase"] = data.get("phase") or phrase.phase
        more.appendlist("used", str(phrase.pk))
    return more


def _form_again(
    request: SignedInRequest, swim: Swim, form: SayForm, status: int = NOT_ACCEPTABLE
) -> HttpResponse:
    used = {"used": form.data.getlist("used")} if isinstance(form.data, QueryDict) else {}
    if request.htmx:  # type: ignore[attr-defined]
        return render(request, LEFT, column_of(request, swim, form, **used), status=status)
    page = {**page_of(request, swim, look(swim=swim, user=request.user), form), **used}
    return render(request, "feedback/swim.html", page, status=status)


@require_POST
def reply_to(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    to = get_object_or_404(Comment.objects.visible_to(request.user), pk=pk)
    swim = swim_for(request, to.swim_id)
    form = WordsForm(request.POST)
    if not form.is_valid() and request.htmx:  # type: ignore[attr-defined]
        again = column_of(request, swim, answering=to.reply_to_id or to.pk, answer=form)
        return render(request, LEFT, again, status=NOT_ACCEPTABLE)
    if not form.is_valid():
        return _words_again(request, swim, form, reverse("feedback:reply", args=[pk]))
    to.swim = swim
    now = request.POST.get("go") == NOW
    said = say.reply(to=to, by=request.user, text=form.cleaned_data["text"], now=now)
    return _answer(request, swim, said)


def _mine(request: SignedInRequest, pk: uuid.UUID) -> Comment:
    """Words of one's own that stand. Hidden and absent alike: 404."""
    mine = Comment.objects.visible_to(request.user).filter(author=request.user)
    standing = mine.filter(taken_back_at__isnull=True).select_related("reply_to")
    comment = get_object_or_404(standing, pk=pk)
    comment.swim = swim_for(request, comment.swim_id)
    return comment


@require_http_methods(["GET", "HEAD", "POST"])
def edit_own(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    comment = _mine(request, pk)
    form_class = WordsForm if comment.reply_to_id else EditForm
    here = reverse("feedback:edit", args=[pk])
    if request.method != "POST":
        now = form_class(initial={"text": comment.text, "phase": comment.phase})
        return _words_again(request, comment.swim, now, here, 200)
    form = form_class(request.POST)
    if not form.is_valid():
        return _words_again(request, comment.swim, form, here)
    say_again.edit(comment=comment, by=request.user, **form.cleaned_data)
    return redirect(_place_of(request, comment.swim, comment))


@require_POST
def send_one(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """A draft by itself, as a follow-up; it stays a draft where it may not go."""
    comment = _mine(request, pk)
    say.send_alone(comment=comment, by=request.user)
    return _answer(request, comment.swim, comment)


@require_POST
def take_back(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    comment = _mine(request, pk)
    say_again.take_back(comment=comment, by=request.user)
    return _answer(request, comment.swim, comment.reply_to)


def _words_again(
    request: SignedInRequest, swim: Swim, form: Any, url: str, status: int = NOT_ACCEPTABLE
) -> HttpResponse:
    """A page with the words alone: to edit them, or to mend what was not accepted. What was sent
    keeps what it said before."""
    context = {"swim": swim, "form": form, "url": url}
    return render(request, "feedback/words.html", context, status=status)
