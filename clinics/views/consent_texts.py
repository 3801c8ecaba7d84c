"""The consent texts of a club: which are published, the next version, who is asked again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinics.actions.consent_ask import Asked, ask
from clinics.actions.consent_board import to_ask_again
from clinics.actions.consent_names import as_shown, names_for
from clinics.actions.consent_texts import (
    LANGUAGES,
    TextRefused,
    default_text,
    publish_defaults,
    publish_text,
    texts_of,
    versions_of,
)
from clinics.models import Clinic, ConsentText, Purpose
from clinics.views.club_admin import club_run_by
from clinics.views.consent_forms import language_now
from clinics.views.who import me
from portal.models import Club
from portal.views.sign_in import see_other


class TextForm(forms.Form):
    """The next version, in every language of the site."""

    ask_again = forms.BooleanField(
        label=gettext_lazy("Ask everybody again who agreed to an earlier text."),
        required=False,
        initial=True,
        help_text=gettext_lazy("Leave it out only for a slip of the pen that changes no sense."),
    )

    def __init__(self, data: Any, *, words: dict[str, str]) -> None:
        super().__init__(data)
        names = dict(settings.LANGUAGES)
        for language in LANGUAGES:
            self.fields[f"text-{language}"] = forms.CharField(
                label=names[language],
                initial=words[language],
                max_length=8000,
                strip=True,
                widget=forms.Textarea(attrs={"lang": language, "class": "consent-text"}),
            )

    def texts(self) -> list[forms.BoundField]:
        return [self[f"text-{language}"] for language in LANGUAGES]

    def text_in(self) -> dict[str, str]:
        return {language: self.cleaned_data[f"text-{language}"] for language in LANGUAGES}


@dataclass(frozen=True)
class PurposeLine:
    """One purpose: its current text as a swimmer reads it, and what was published before."""

    purpose: str
    label: Any
    version: int
    shown: str
    language: str
    versions: list[list[ConsentText]]


def _line(club: Club, purpose: str, told: Any) -> PurposeLine:
    texts, names, versions = told
    text = texts.get(purpose, language_now())
    return PurposeLine(
        purpose=purpose,
        label=Purpose(purpose).label,
        version=texts.version(purpose),
        shown=as_shown(text, names) if text else "",
        language=text.language if text else "",
        versions=list(versions[purpose].values()),
    )


@require_safe
def consent_texts(request: HttpRequest, slug: str) -> HttpResponse:
    club = club_run_by(request, slug)
    latest = Clinic.objects.run_by(me(request)).filter(club=club).first()
    told = texts_of(club), names_for(club, latest), versions_of(club)
    context = {
        "of_club": club,
        "clinic": latest,  # its people stand in the text
        "lines": [_line(club, purpose, told) for purpose in Purpose.values],
        "missing": [p for p in Purpose.values if not told[0].version(p)],
        "again": to_ask_again(club),
    }
    return render(request, "clinics/consent_texts.html", context)


def _texts_page(club: Club) -> HttpResponse:
    return see_other(reverse("clinics:consent-texts", args=[club.slug]))


@require_POST
def consent_texts_begin(request: HttpRequest, slug: str) -> HttpResponse:
    """Publish the default words for what has none yet."""
    club = club_run_by(request, slug)
    if publish_defaults(club=club, by=me(request)):
        messages.success(request, _("The texts are published. Swimmers can answer now."))
    return _texts_page(club)


@require_http_methods(["GET", "HEAD", "POST"])
def consent_text(request: HttpRequest, slug: str, purpose: str) -> HttpResponse:
    """Edit what is published: that makes the next version, and changes none before."""
    club = club_run_by(request, slug)
    if purpose not in Purpose.values:
        raise Http404
    current = texts_of(club).current.get(purpose, {})
    words = {x: current[x].text if x in current else default_text(purpose, x) for x in LANGUAGES}
    form = TextForm(request.POST or None, words=words)
    if request.method == "POST" and form.is_valid():
        again = form.cleaned_data["ask_again"]
        try:
            publish_text(
                club=club, purpose=purpose, text_in=form.text_in(), ask_again=again, by=me(request)
            )
        except TextRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("Published. The earlier text stays as it was."))
            return _texts_page(club)
    context = {"of_club": club, "form": form, "purpose": purpose, "label": Purpose(purpose).label}
    context["version"] = next((text.version for text in current.values()), 0) + 1
    return render(request, "clinics/consent_text.html", context, status=422 if form.errors else 200)


@require_POST
def consent_ask_again(request: HttpRequest, slug: str) -> HttpResponse:
    """One act: everybody of the club who agreed to a text that has changed since."""
    club = club_run_by(request, slug)
    tell_asked(request, ask(swimmers=to_ask_again(club), clinic=None, by=me(request)))
    return _texts_page(club)


def tell_asked(request: HttpRequest, asked: Asked) -> None:
    """What asking came to, in words."""
    if asked.mailed:
        told = _("Asked by mail: %(n)d. Each gets a link of their own.")
        messages.success(request, told % {"n": len(asked.mailed)})
    if asked.lately:
        told = _("Written to within the last day, so not again: %(names)s.")
        messages.info(request, told % {"names": _names(asked.lately)})
    if asked.no_address:
        told = _("No address, so ask in person: %(names)s.")
        messages.warning(request, told % {"names": _names(asked.no_address)})
    if not (asked.mailed or asked.lately or asked.no_address):
        messages.info(request, _("Nobody is left to ask."))


def _names(swimmers: list[Any]) -> str:
    return ", ".join(swimmer.name for swimmer in swimmers)
