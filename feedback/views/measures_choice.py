"""A club's choice of how its turns are timed; for its admins."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from clinics.views.club_admin import club_run_by
from feedback.actions.measured import zone_of
from feedback.actions.measuring_choice import choose_zone
from feedback.compute.measuring.turns import ZONES, TurnZone
from feedback.views.measure_words import metres
from portal.requests import SignedInRequest


def _key(zone: TurnZone) -> str:
    return f"{zone.in_m:g}-{zone.out_m:g}"


class ZoneForm(forms.Form):
    zone = forms.ChoiceField(label=gettext_lazy("A turn is timed"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["zone"].choices = [  # type: ignore[attr-defined]
            (
                _key(zone),
                _("from %(in)s before the wall to %(out)s after it")
                % {"in": metres(zone.in_m), "out": metres(zone.out_m)},
            )
            for zone in ZONES
        ]

    def chosen(self) -> TurnZone:
        return next(zone for zone in ZONES if _key(zone) == self.cleaned_data["zone"])


@require_http_methods(["GET", "HEAD", "POST"])
def choice(request: SignedInRequest, slug: str) -> HttpResponse:
    club = club_run_by(request, slug)
    form = ZoneForm(request.POST or None, initial={"zone": _key(zone_of(club))})
    if request.method == "POST" and form.is_valid():
        choose_zone(club=club, zone=form.chosen(), by=request.user)
        messages.success(request, _("Saved. The measures of all swims follow."))
        return redirect("feedback:measuring", club.slug)
    return render(request, "feedback/measuring.html", {"of_club": club, "form": form})
