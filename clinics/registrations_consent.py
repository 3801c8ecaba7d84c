"""What consent tells the site about itself: places to go, how long signed sheets are kept, and
whether receipts can be made as PDF."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal.registry import (
    Finding,
    HealthCheck,
    KeepingRule,
    NavEntry,
    club_places,
    health_checks,
    keeping_rules,
    own_places,
)
from portal.requests import SignedInRequest


def register_consent() -> None:
    from clinics.actions.consent_paper import SHEETS

    keeping_rules.register(
        KeepingRule(
            name=SHEETS,
            label=_("Signed sheets: as long as the answer that they show"),
            delete_by=lambda file: None,
        )
    )
    own_places.register(
        NavEntry("my-consent", _("My consent"), "clinics:my-consent", 10, shown_to=_is_in_footage)
    )
    club_places.register(
        NavEntry(
            "consent-texts", _("Consent texts"), "clinics:consent-texts", 10, shown_to=_is_admin
        )
    )
    health_checks.register(HealthCheck("pdf", _("Receipts as PDF"), _pdf))
    health_checks.register(HealthCheck("consent-texts", _("Consent texts"), _texts))


def _pdf() -> Finding:
    from portal.pdf_out import libraries_are_there

    if libraries_are_there():
        return Finding(True, _("The system's text libraries are there."))
    missing = _("Text libraries are missing: install libpango, libpangoft2, libharfbuzz-subset.")
    return Finding(False, missing)


def _texts() -> Finding:
    from clinics.actions.consent_texts import changed_texts

    changed = changed_texts()
    if not changed:
        return Finding(True, _("Every published text still says what was published."))
    told = ", ".join(f"{text.club}, {text}, {text.language}" for text in changed)
    return Finding(False, _("Changed after it was published: %(texts)s.") % {"texts": told})


def _is_in_footage(request: SignedInRequest) -> bool:
    from portal.shell import footage_clubs_of

    return bool(footage_clubs_of(request))


def _is_admin(request: SignedInRequest) -> bool:
    from portal.shell import is_admin

    return is_admin(request)
