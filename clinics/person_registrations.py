"""What clinics put into the site's registries about exporting and erasing people."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal.registry import (
    NavEntry,
    erasure_steps,
    export_steps,
    notice_parts,
    own_places,
    person_sources,
)
from portal.shell import is_in_footage


def register_persons() -> None:
    """Called once at start-up."""
    from clinics.actions import (
        erase,
        erase_consent,
        erase_swimmer,
        erase_wishes,
        export,
        notice,
        persons,
    )

    person_sources.register(persons.SOURCE)
    for step in (*erase.PICTURES, erase_consent.STEP, erase_wishes.STEP, *erase_swimmer.REST):
        erasure_steps.register(step)
    for step in export.STEPS:
        export_steps.register(step)
    notice_parts.register(notice.PART)
    own_places.register(
        NavEntry("my-data", _("My data"), "clinics:my-data", 30, shown_to=is_in_footage)
    )
