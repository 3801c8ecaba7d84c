"""What the site registers of the audit trail, the access record and what a restore does again."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal.actions import audit_head, replay_site, safekeeping
from portal.registry import (
    HealthCheck,
    NavEntry,
    SweepStep,
    club_places,
    health_checks,
    ledger_replays,
    sweep_steps,
)
from portal.shell import is_admin


def register_trail() -> None:
    for again in replay_site.REPLAYS:
        ledger_replays.register(again)
    sweep_steps.register(SweepStep("audit-trail", 3600.0, audit_head.verify_and_send))
    club_places.register(
        NavEntry("access", _("Access record"), "portal:access-record", 50, shown_to=is_admin)
    )
    for check in (
        HealthCheck("audit", _("Audit trail"), audit_head.check_trail),
        HealthCheck("ledger", _("Deletion ledger"), safekeeping.check_ledger),
        HealthCheck("backup", _("Backup"), safekeeping.check_backup),
    ):
        health_checks.register(check)
