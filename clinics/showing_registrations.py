"""What is shown on, as the site knows it: the club's place for it, and what the sweep does."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal.registry import NavEntry, SweepStep, club_places, sweep_steps


def register_showing() -> None:
    from clinics.actions import minor

    club_places.register(
        NavEntry("showing", _("What is shown on"), "clinics:showing", 50, shown_to=lambda _r: True)
    )
    sweep_steps.register(SweepStep("minors", 600.0, minor.sweep))
