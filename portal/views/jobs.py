"""Following a job: its state as JSON, cancelling and retrying it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from portal.actions import jobs as act
from portal.models import Job, User
from portal.registry import job_kinds
from portal.requests import SignedInRequest


class ChangeForm(forms.Form):
    """What to do with the job, and where to go on without script."""

    do = forms.ChoiceField(choices=[("cancel", "cancel"), ("retry", "retry")])
    next = forms.CharField(required=False)


@require_http_methods(["GET", "HEAD", "POST"])
def job(request: SignedInRequest, pk: Any) -> HttpResponse:
    """One job. Whoever may not know about its subject gets the same 404 as for no job."""
    found = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    if request.method != "POST":
        return JsonResponse(shown(found, request.user))
    if not act.may_change(found, request.user):
        raise Http404
    form = ChangeForm(request.POST)
    if not form.is_valid():
        return JsonResponse({"errors": form.errors}, status=400)
    change = act.cancel if form.cleaned_data["do"] == "cancel" else act.retry
    changed = change(job=found, by=request.user)
    return _go_on(request, form.cleaned_data["next"], changed)


def _go_on(request: SignedInRequest, url: str, changed: Job) -> HttpResponse:
    if "application/json" in request.headers.get("Accept", ""):
        return JsonResponse(shown(changed, request.user))
    here = url_has_allowed_host_and_scheme(url, {request.get_host()}, request.is_secure())
    return redirect(url if here else reverse("portal:home"))


def shown(found: Job, user: User) -> dict[str, Any]:
    """What the page shows of a job, in the reader's language."""
    mine = act.may_change(found, user)
    return {
        "id": str(found.pk),
        "kind": found.kind,
        "label": label_of(found),
        "state": found.state,
        "progress": round(found.progress, 4),
        "seconds_left": found.seconds_left,
        "words": words(found),
        "reason": found.reason,
        "can_cancel": mine and found.state in act.OPEN and not found.cancel_asked,
        "can_retry": mine and found.state in {Job.State.FAILED, Job.State.CANCELLED},
    }


def label_of(found: Job) -> str:
    """The kind's name for people."""
    try:
        return str(job_kinds.get(found.kind).label)
    except LookupError:
        return found.kind


def words(found: Job) -> str:
    """The job's state in a few words, with the time left."""
    if found.state == Job.State.WAITING:
        if found.reason:
            return _("Waiting to try again: %(reason)s") % {"reason": found.reason}
        return _("Waiting")
    if found.state == Job.State.RUNNING:
        if found.cancel_asked:
            return _("Stopping")
        percent = _("%(percent)d %%") % {"percent": found.progress * 100}
        left = time_left(found.seconds_left)
        return _("%(percent)s, %(left)s") % {"percent": percent, "left": left} if left else percent
    if found.state == Job.State.FAILED:
        return _("Failed: %(reason)s") % {"reason": found.reason}
    return _("Done") if found.state == Job.State.DONE else _("Cancelled")


def time_left(seconds: float | None) -> str:
    """“about 2 minutes left”; empty when not known."""
    if seconds is None:
        return ""
    if seconds < 60:
        count = max(1, round(seconds))
        return ngettext("about %(n)d second left", "about %(n)d seconds left", count) % {"n": count}
    count = round(seconds / 60)
    if count < 90:
        return ngettext("about %(n)d minute left", "about %(n)d minutes left", count) % {"n": count}
    count = round(seconds / 3600)
    return ngettext("about %(n)d hour left", "about %(n)d hours left", count) % {"n": count}
