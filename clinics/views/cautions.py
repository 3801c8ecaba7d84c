"""The cautions of a clinic, to be read before the pool hour, and who has read them."""

from __future__ import annotations

import uuid
from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from clinics.actions.cautions import Reader, State, acknowledge, reading_of
from clinics.actions.errors import BadInput
from clinics.compute.start_depth import DEFERENCE
from clinics.compute.start_words import SEEN
from clinics.models import Clinic
from clinics.views.cautions_told import told
from clinics.views.plan_places import plan_places
from clinics.views.who import me
from clinics.views.words import in_words


class ReadForm(forms.Form):
    """`read`: topics with the hash of the words that stood on the page, as topic:hash."""

    name = forms.CharField(
        label=gettext_lazy("Your name"), max_length=120, required=False, strip=True
    )

    def read(self) -> dict[str, str]:
        chosen = cast(QueryDict, self.data).getlist("read")
        pairs = (one.partition(":") for one in chosen)
        return {topic[:30]: sha256[:64] for topic, _colon, sha256 in pairs}


@require_http_methods(["GET", "HEAD", "POST"])
def cautions(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinics = Clinic.objects.visible_to(me(request)).select_related("club", "venue_sheet")
    clinic = get_object_or_404(clinics, pk=pk)
    form = ReadForm(request.POST if request.method == "POST" else None)
    errors: list[tuple[str, str]] = []
    if request.method == "POST" and form.is_valid():
        said = {"read": form.read(), "name": form.cleaned_data["name"], "by": me(request)}
        try:
            acknowledge(clinic=clinic, **said)
        except BadInput as bad:
            errors = in_words(bad).errors
        else:
            messages.success(request, _("Put down: you have read it. That makes nothing safe."))
            return redirect("clinics:cautions", pk=clinic.pk)
    status = 422 if request.method == "POST" else 200
    with timezone.override(clinic.zone):
        context = _page(request, clinic) | {"form": form, "errors": errors}
        return render(request, "clinics/cautions_page.html", context, status=status)


def _page(request: HttpRequest, clinic: Clinic) -> dict[str, Any]:
    reading = reading_of(clinic)
    own = reading.of(me(request))
    return {
        "clinic": clinic,
        "topics": [_topic(one) for one in own],
        "left": [one for one in own if one.state is not State.READ],
        "at_posts": [_reader(reader) for reader in reading.at_posts],
        "others": [_reader(reader) for reader in reading.others],
        "missing": len(reading.missing),
        "puts_down": clinic.state != Clinic.State.CLOSED,
        "places_of_plan": plan_places(clinic, "cautions"),
        "now": timezone.now(),
        "lines_to_sign": range(6),
    }


def _topic(one: Any) -> dict[str, Any]:
    topic = one.topic
    return {
        "key": topic.key,
        "sha256": topic.sha256,
        "title": told(topic.title),
        "state": one.state.value,
        "at": one.at,
        "for_whom": told(topic.for_whom) if topic.for_whom else "",
        "facts": [told(fact) for fact in topic.facts],
        "comes_to": told(topic.comes_to) if topic.comes_to else "",
        "deference": told(DEFERENCE),
        "limits": [_limit(line) for line in topic.limits],
        "studies": [(told(study.found), study.source) for study in topic.studies],
        "lines": [
            (told(line.words).rstrip("."), told(line.why).rstrip(".") if line.why else "")
            for line in topic.lines
        ],
    }


def _limit(line: Any) -> dict[str, Any]:
    limit = line.limit
    return {
        "depth_m": limit.depth_m,
        "body": limit.body,
        "applies_to": told(limit.applies_to),
        "condition": told(limit.condition),
        "source": limit.source,
        "address": limit.address,
        "seen": told(SEEN[limit.seen]),
        "against": line.against.value,
        "says": told(line.says),
        "heights": [told(height) for height in line.heights],
    }


def _reader(reader: Reader) -> dict[str, Any]:
    """Posts once each, whatever stations they are of. What was read together stands together."""
    read: dict[str, list[str]] = {}
    for one in reader.topics:
        if one.at is not None and one.state is State.READ:
            at = date_format(timezone.localtime(one.at), "SHORT_DATETIME_FORMAT")
            read.setdefault(at, []).append(told(one.topic.title))
    return {
        "name": reader.name or reader.user.email,
        "posts": list(dict.fromkeys(duty.get_kind_display() for duty in reader.duties)),
        "changed": _titles(reader, State.CHANGED),
        "not_read": _titles(reader, State.NOT_READ),
        "read": list(read.items()),
    }


def _titles(reader: Reader, state: State) -> list[str]:
    return [told(one.topic.title) for one in reader.topics if one.state is state]
