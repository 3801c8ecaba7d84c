"""The small form under a medley's measures: the stroke of each length."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from clinics.models import Entry, Swim
from feedback.actions.length_strokes import say_strokes
from feedback.actions.measured_zero import course_of, lengths_to_say
from feedback.compute.measuring.course import Course
from feedback.compute.measuring.medley import MEDLEY
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422
STROKES = [one for one in Entry.Stroke.choices if one[0] != MEDLEY]


class LengthStrokesForm(forms.Form):
    """One choice a length."""

    def __init__(self, *args: Any, course: Course) -> None:
        super().__init__(*args)
        self.names = [f"length-{number}" for number in range(1, lengths_to_say(course) + 1)]
        for number, name in enumerate(self.names, start=1):
            missing = _("Say the stroke of length %(number)d.") % {"number": number}
            self.fields[name] = forms.ChoiceField(
                choices=[("", gettext_lazy("not said")), *STROKES],
                label=_("Length %(number)d") % {"number": number},
                initial=course.stroke_of(number) if course.strokes else "",
                error_messages={"required": missing, "invalid_choice": missing},
            )

    def strokes(self) -> list[str]:
        return [self.cleaned_data[name] for name in self.names]

    def sentences(self) -> list[str]:
        return [str(said) for errors in self.errors.values() for said in errors]


def strokes_part(course: Course) -> dict[str, Any]:
    """For a coach: the form, where the rule does not say the strokes; whether they are missing."""
    if not lengths_to_say(course):
        return {"strokes_form": None}
    return {"strokes_form": LengthStrokesForm(course=course), "strokes_missing": not course.strokes}


@require_POST
def length_strokes(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    from feedback.views.swim import page_of  # it asks measures, which ask this module

    swims = Swim.objects.coached_by(request.user).select_related(
        "entry__swimmer", "entry__clinic__club"
    )
    swim = get_object_or_404(swims, pk=pk)
    form = LengthStrokesForm(request.POST, course=course_of(swim))
    sentences = [] if form.is_valid() else form.sentences()
    if not form.names:
        sentences = [_("The strokes of this swim's lengths are known; nothing is to be said.")]
    if sentences:
        page = {**page_of(request, swim, None), "mark_errors": sentences}
        return render(request, "feedback/swim.html", page, status=NOT_ACCEPTABLE)
    say_strokes(swim=swim, strokes=form.strokes(), by=request.user)
    return HttpResponseRedirect(f"{reverse('feedback:swim', args=[swim.pk])}#measures")
