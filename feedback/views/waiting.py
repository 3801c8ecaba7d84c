"""Waiting for you: a coach's swims over all clinics and clubs, and what is missing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from clinics.models import Clinic, Swim
from feedback.models.queue import ANSWERED, ASKS_BACK, NOT_GIVEN, NOTHING_SAID, swims_coached_by
from feedback.views.my_swims import Still, stills_of, with_what_was_seen_and_said
from portal.models import User
from portal.requests import SignedInRequest

MISSING = {
    ASKS_BACK: _("the swimmer asks back"),
    NOTHING_SAID: _("nothing said yet"),
    NOT_GIVEN: _("said, not given yet"),
    ANSWERED: _("answered and given"),
}
# by word and by shape, see .state in site.css
STATE_CLASS = {ASKS_BACK: "unknown", NOTHING_SAID: "look", NOT_GIVEN: "busy", ANSWERED: ""}


class QueueForm(forms.Form):
    """What of the queue is shown."""

    show = forms.ChoiceField(
        label=_("Show"),
        required=False,
        choices=[("", _("all that waits")), *MISSING.items(), ("all", _("everything"))],
    )
    clinic = forms.ModelChoiceField(
        Clinic.objects.none(), label=_("Clinic"), required=False, empty_label=_("all clinics")
    )

    def __init__(self, *args: Any, user: User) -> None:
        super().__init__(*args)
        self.fields["clinic"].queryset = Clinic.objects.coached_by(user)  # type: ignore[attr-defined]


@dataclass(frozen=True)
class QueueRow:
    swim: Swim
    still: Still | None
    missing: str
    state_class: str
    said: int


def _row(swim: Swim) -> QueueRow:
    stills = stills_of(swim.seen_clips)  # type: ignore[attr-defined]
    missing = swim.missing  # type: ignore[attr-defined]
    return QueueRow(
        swim=swim,
        still=stills[0] if stills else None,
        missing=str(MISSING[missing]),
        state_class=STATE_CLASS[missing],
        said=len(swim.seen_comments),  # type: ignore[attr-defined]
    )


@require_safe
def waiting(request: SignedInRequest) -> HttpResponse:
    user = request.user
    form = QueueForm(request.GET, user=user)
    chosen = form.cleaned_data if form.is_valid() else {}
    swims = swims_coached_by(user)
    if chosen.get("clinic"):
        swims = swims.filter(entry__clinic=chosen["clinic"])
    show = chosen.get("show")
    if show in MISSING:
        swims = swims.filter(missing=show)
    elif show != "all":
        swims = swims.exclude(missing=ANSWERED)
    rows = [_row(swim) for swim in with_what_was_seen_and_said(swims, user)]
    return render(request, "feedback/waiting.html", {"rows": rows, "form": form})
