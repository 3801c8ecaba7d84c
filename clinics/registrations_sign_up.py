"""What signing up tells the site about itself: how long it is kept, how it is erased, exported
and done again, where people find their own."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal import audit_words
from portal.registry import (
    NavEntry,
    erasure_steps,
    export_steps,
    ledger_replays,
    own_places,
    purge_steps,
)
from portal.shell import is_in_footage


def register_sign_up() -> None:
    """Called once at start-up."""
    from clinics.actions import sign_up_end, sign_up_keeping, sign_up_person

    purge_steps.register(sign_up_keeping.INJURIES_STEP)
    purge_steps.register(sign_up_keeping.SIGN_UPS_STEP)
    erasure_steps.register(sign_up_person.ERASE)
    export_steps.register(sign_up_person.EXPORT)
    ledger_replays.register(sign_up_end.REPLAY)
    own_places.register(
        NavEntry("my-sign-ups", _("My sign-ups"), "clinics:my-sign-ups", 15, shown_to=is_in_footage)
    )
    audit_words.know(audit_words.WORK, {"sign-up.": _("signed up, or did something with sign-ups")})
    audit_words.know(audit_words.CONSENT, {"sign-up.end-answer": _("took an answer back")})
    audit_words.know(
        audit_words.SEEN, {"notes.view": _("read what swimmers told the coaches, injuries too")}
    )
