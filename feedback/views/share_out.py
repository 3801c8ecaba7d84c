"""Sharing a clinic's waiting swims among its coaches: shown first, then done in one act."""

from __future__ import annotations

import uuid
from collections.abc import Sequence

from django import forms
from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from clinics.models import Clinic
from feedback.actions import taken
from feedback.privacy import coaches_of
from portal.models import User
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422


class AmongForm(forms.Form):
    """Among whom; `shown`: the stamp of what the page showed."""

    among = forms.ModelMultipleChoiceField(User.objects.none(), required=False)
    shown = forms.CharField(required=False)

    def __init__(self, *args: object, clinic: Clinic) -> None:
        super().__init__(*args)  # type: ignore[arg-type]
        self.fields["among"].queryset = coaches_of(clinic)  # type: ignore[attr-defined]

    def coaches(self) -> list[User]:
        return list(self.cleaned_data.get("among") or ()) if self.is_valid() else []


@require_http_methods(["GET", "HEAD", "POST"])
def share_out(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = get_object_or_404(Clinic.objects.coached_by(request.user), pk=pk)
    form = AmongForm(request.POST if request.method == "POST" else request.GET, clinic=clinic)
    among = form.coaches()
    if request.method != "POST":
        return _shown(request, clinic, among or list(coaches_of(clinic)))
    try:
        shown = form.cleaned_data.get("shown", "")
        taken.share_out(clinic=clinic, by=request.user, among=among, shown=shown)
    except taken.SharedOtherwise:
        messages.warning(
            request, _("Somebody took or answered swims meanwhile. Look at it again, then share.")
        )
        return _shown(request, clinic, among, status=NOT_ACCEPTABLE)
    messages.success(request, _("Shared out. Each coach finds theirs under “mine”."))
    return HttpResponseRedirect(f"{reverse('feedback:waiting')}?clinic={clinic.pk}")


def _shown(
    request: SignedInRequest, clinic: Clinic, among: Sequence[User], status: int = 200
) -> HttpResponse:
    shares = taken.portions(clinic=clinic, by=request.user, among=among)
    context = {
        "clinic": clinic,
        "coaches": [(coach, coach in among) for coach in coaches_of(clinic)],
        "shares": shares,
        "count": sum(len(share.swims) for share in shares),
        "stamp": taken.stamp_of(shares),
    }
    return render(request, "feedback/share_out.html", context, status=status)
