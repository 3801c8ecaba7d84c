"""“A minor is in this clip”: saying so, and finding out."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from clinics.actions import minor as acts
from clinics.models import Clip, ClipFile, MinorReport, Swimmer
from clinics.views.who import me
from portal.views.serve_file import serve_file


def _seen(request: HttpRequest, pk: uuid.UUID) -> Clip:
    """Seen or checked by the user. Hidden and absent alike: 404."""
    rows = Clip.objects.select_related("station", "swim__entry__clinic", "swim__entry__swimmer")
    rows = rows.filter(pk=pk)
    found = rows.visible_to(me(request)).first() or rows.handled_by(me(request)).first()
    if found is None:
        raise Http404
    return found


@require_http_methods(["GET", "HEAD", "POST"])
def minor(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Anyone who sees a clip says so; asked once more before it is hidden."""
    clip = _seen(request, pk)
    if request.method != "POST":
        return render(request, "clinics/minor.html", {"clip": clip, "swim": clip.swim})
    acts.report_minor(clip=clip, by=me(request))
    messages.success(request, _("Thank you. Nobody sees this clip until the club has found out."))
    return redirect("portal:home")


class FindForm(forms.Form):
    outcome = forms.ChoiceField(choices=MinorReport.Outcome.choices, widget=forms.RadioSelect)


@require_http_methods(["GET", "HEAD", "POST"])
def minor_report(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    rows = MinorReport.objects.looked_into_by(me(request)).select_related(
        "clip__swim__entry__clinic__club", "clip__swim__entry__swimmer", "clip__station", "first_by"
    )
    report = get_object_or_404(rows, pk=pk)
    form = FindForm(request.POST or None)
    own = report.reported_by_id == me(request).pk
    if request.method == "POST" and not own and report.resolved_at is None and form.is_valid():
        found = acts.find(report=report, outcome=form.cleaned_data["outcome"], by=me(request))
        messages.success(request, _found_words(found))
        return redirect("clinics:minor-report", pk=pk)
    with timezone.override(report.clip.swim.entry.clinic.zone):
        return render(request, "clinics/minor_report.html", _told(request, report, form, own))


def _found_words(report: MinorReport) -> str:
    if report.resolved_at is None:
        return _("Noted. A second person must come to the same answer.")
    if report.outcome == MinorReport.Outcome.COVERED:
        return _("Both say: cover it. The clip stays hidden until it is, and is passed on again.")
    if report.outcome == MinorReport.Outcome.DELETED:
        return _("Both say: delete it. Its files go with the next purge.")
    return _("Both say: it was an adult. The clip is shown again as before.")


def _told(request: HttpRequest, report: MinorReport, form: FindForm, own: bool) -> dict[str, Any]:
    clip = report.clip
    film = _films(request, report).filter(kind=ClipFile.Kind.VIDEO).exists()
    return {
        "report": report,
        "clip": clip,
        "swim": clip.swim,
        "club": clip.swim.entry.clinic.club,
        "people": _people(clip),
        "form": form,
        "own": own,
        "film": film,
    }


def _people(clip: Clip) -> list[Swimmer]:
    """Whose clip it is, and who was noted to be in it: with their word that they are adults."""
    noted = Swimmer.objects.filter(recognised_in__swim=clip.swim_id) | Swimmer.objects.filter(
        in_picture__recording=clip.recording_id,
        in_picture__from_ticks__lt=clip.out_ticks,
        in_picture__to_ticks__gt=clip.in_ticks,
    )
    others = noted.exclude(pk=clip.swim.entry.swimmer_id).distinct().order_by("name")
    return [clip.swim.entry.swimmer, *others]


def _films(request: HttpRequest, report: MinorReport) -> Any:
    return ClipFile.objects.in_question_for(me(request)).filter(clip=report.clip_id)


def minor_film(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    """The film, for a checker who finds out. The fence comes before the verb."""
    report = get_object_or_404(MinorReport.objects.looked_into_by(me(request)), pk=pk)
    films = _films(request, report).filter(kind=ClipFile.Kind.VIDEO).select_related("stored")
    film = films.order_by("-height").first()
    if film is None:
        raise Http404
    if request.method == "GET" and "Range" not in request.headers:
        acts.note_look(report=report, by=me(request))
    return serve_file(request, film.stored)
