"""On paper: a sheet to print and sign, and recording a signed one with its picture."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from clinics.actions.consent import ConsentRefused
from clinics.actions.consent_answers import Answers
from clinics.actions.consent_names import names_for
from clinics.actions.consent_paper import record_paper
from clinics.actions.consent_questions import Question, questions
from clinics.actions.consent_texts import texts_of
from clinics.models import Clinic, Consent, Entry, Swimmer
from clinics.views.consent_forms import language_now
from clinics.views.who import me
from portal.freshness import fresh_sign_in_required
from portal.pdf_out import pdf_response
from portal.views.serve_file import serve_file
from portal.views.sign_in import see_other

SHEET_MAX_BYTES = 20 * 1024**2
WHEN = "%Y-%m-%dT%H:%M"
SAYS = [
    ("yes", gettext_lazy("agrees")),
    ("no", gettext_lazy("does not agree")),
    ("", gettext_lazy("says nothing about it")),
]


class SheetForm(forms.Form):
    """What a signed sheet says, purpose by purpose, and the picture of it."""

    signed_at = forms.DateTimeField(
        label=gettext_lazy("Signed when"),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format=WHEN),
        input_formats=[WHEN],
        help_text=gettext_lazy("What the swimmer said after that is not changed by the sheet."),
    )
    language = forms.ChoiceField(
        label=gettext_lazy("Language of the sheet"), choices=settings.LANGUAGES
    )
    sheet = forms.FileField(
        label=gettext_lazy("Photo or scan of the sheet"),
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        help_text=gettext_lazy("JPEG, PNG or WebP. Where and with what it was taken is removed."),
    )
    adult = forms.BooleanField(label=gettext_lazy("The sheet says: 18 or older."), required=False)

    def __init__(self, data: Any, files: Any, *, questions: Iterable[Question]) -> None:
        self.questions = list(questions)
        initial = {"signed_at": timezone.localtime(), "language": language_now()}
        super().__init__(data, files, initial=initial)
        for question in self.questions:
            self.fields[question.purpose] = forms.ChoiceField(
                label=question.sentence,
                choices=SAYS,
                required=False,
                initial="",
                widget=forms.RadioSelect,
            )
            self.fields[f"version-{question.purpose}"] = forms.IntegerField(
                label=gettext_lazy("Version on the sheet"), min_value=1, initial=question.version
            )

    def rows(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[q.purpose], self[f"version-{q.purpose}"]) for q in self.questions]

    def clean_signed_at(self) -> Any:
        if self.cleaned_data["signed_at"] > timezone.now():
            raise forms.ValidationError(_("That is still to come."))
        return self.cleaned_data["signed_at"]

    def clean_sheet(self) -> Any:
        if self.cleaned_data["sheet"].size > SHEET_MAX_BYTES:
            raise forms.ValidationError(_("The picture is larger than 20 MB. Send it smaller."))
        return self.cleaned_data["sheet"]

    def answers(self) -> Answers:
        said = self.cleaned_data
        told = [q.purpose for q in self.questions if said[q.purpose]]
        return Answers(
            choices={purpose: said[purpose] == "yes" for purpose in told},
            versions={purpose: said[f"version-{purpose}"] for purpose in told},
            language=said["language"],
            adult=said["adult"],
        )


def _run(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    return get_object_or_404(Clinic.objects.run_by(me(request)).select_related("club"), pk=pk)


def _asked(clinic: Clinic) -> list[Question]:
    return questions(texts_of(clinic.club), names_for(clinic.club, clinic), language_now())


@require_safe
def consent_blank(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The texts with boxes and a line to sign on, in the language of the page."""
    clinic = _run(request, pk)
    asked = _asked(clinic)
    if not asked:
        raise Http404
    told = {"clinic": clinic, "club": clinic.club, "questions": asked}
    return pdf_response(f"consent-{clinic.slug}.pdf", "clinics/consent_sheet_pdf.html", told)


@fresh_sign_in_required
@require_http_methods(["GET", "HEAD", "POST"])
def consent_paper(request: HttpRequest, pk: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    clinic = _run(request, pk)
    entries = Entry.objects.filter(clinic=clinic).select_related("swimmer__club")
    row = get_object_or_404(entries, pk=entry)
    with timezone.override(clinic.zone):
        return _paper(request, clinic, row)


def _paper(request: HttpRequest, clinic: Clinic, row: Entry) -> HttpResponse:
    form = SheetForm(request.POST or None, request.FILES or None, questions=_asked(clinic))
    if request.method == "POST" and form.is_valid():
        try:
            record_paper(
                swimmer=row.swimmer,
                clinic=clinic,
                answers=form.answers(),
                signed_at=form.cleaned_data["signed_at"],
                picture=form.cleaned_data["sheet"],
                by=me(request),
            )
        except ConsentRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("The sheet is recorded, with its picture."))
            return see_other(f"{reverse('clinics:consent', args=[clinic.pk])}#entry-{row.number}")
    told = {"clinic": clinic, "entry": row, "form": form}
    return render(request, "clinics/consent_paper.html", told, status=422 if form.errors else 200)


def consent_sheet(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    """The picture of a signed sheet: for the club's admins, and the swimmer who signed it."""
    run = Swimmer.objects.managed_by(me(request)).values("pk")
    whose = Q(swimmer__in=run) | Q(swimmer__user=me(request))
    rows = Consent.objects.filter(whose, sheet__isnull=False).select_related("sheet")
    found = get_object_or_404(rows, pk=pk)
    if found.sheet is None:
        raise Http404
    return serve_file(request, found.sheet)
