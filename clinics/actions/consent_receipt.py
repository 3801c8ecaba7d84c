"""What a swimmer gets for an answer: the facts of a receipt, as they were shown then."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from clinics.actions.consent_names import as_shown, in_text
from clinics.compute import consent_words as words
from clinics.compute.receipt import GIVEN, REFUSED, REPLACED, WITHDRAWN, Facts, receipt
from clinics.models import Consent

if TYPE_CHECKING:
    from clinics.models import ConsentText


def state_of(consent: Consent) -> str:
    """Given, refused, withdrawn, or replaced by a later answer of the same swimmer."""
    if consent.choice == Consent.Choice.REFUSES:
        return REFUSED
    if consent.ended_at is None:
        return GIVEN
    later = Consent.objects.filter(
        swimmer_id=consent.swimmer_id,
        purpose=consent.purpose,
        choice=Consent.Choice.AGREES,
        given_at=consent.ended_at,
    )
    return REPLACED if later.exclude(pk=consent.pk).exists() else WITHDRAWN


def shown_sentence(text: ConsentText | None, consent: Consent) -> str:
    if text is None:
        return str(consent.get_purpose_display())
    return words.filled(words.sentence(text.text), in_text(consent.names, text.language))


def facts_of(consent: Consent) -> Facts:
    """Words in the language in which the text was read."""
    text, names, club = consent.text, consent.names, consent.swimmer.club
    language = text.language if text else translation.get_language() or settings.LANGUAGE_CODE
    with translation.override(language):
        return Facts(
            record_id=str(consent.pk),
            principal_id=str(consent.swimmer_id),
            principal_name=consent.swimmer.name,
            club_id=str(club.pk),
            club=names.get("club") or club.name,
            controller=names.get("controller") or club.name,
            address=names.get("address", ""),
            contact=names.get("contact") or club.contact_email,
            checkers=names.get("checkers", []),
            team=names.get("team", []),
            purpose=consent.purpose,
            sentence=shown_sentence(text, consent),
            shown_text=as_shown(text, names) if text else "",
            text_version=text.version if text else 0,
            text_sha256=text.text_sha256 if text else "",
            language=language,
            agrees=consent.choice == Consent.Choice.AGREES,
            method=str(consent.get_method_display()),
            recorded_by=str(consent.recorded_by_id or ""),
            given_at=consent.given_at,
            ended_at=consent.ended_at,
            state=state_of(consent),
            notice_url=_url("portal:notice"),
            withdraw_url=_url("clinics:my-consent"),
            retention=_("Each clip shows until when it is kept; the notice says by which rules."),
            rights=_rights(),
        )


def _url(name: str) -> str:
    return settings.SITE_URL.rstrip("/") + reverse(name)


def _rights() -> list[str]:
    return [
        _("withdraw it at any time, without a reason"),
        _("see what is kept, and take it along"),
        _("have it corrected or erased"),
        _("complain to the authority for data protection"),
    ]


def receipt_of(consent: Consent) -> dict[str, Any]:
    return receipt(facts_of(consent), issued_at=timezone.now())
