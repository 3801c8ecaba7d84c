"""What the health page and `doctor` ask about footage: the sandbox, and room for clinics."""

from __future__ import annotations

import shutil

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.media.sandbox import sandbox_available
from clinics.models import Clinic
from portal.registry import Finding, HealthCheck

CLINIC_GB = 30 + 5  # originals and clips of one clinic


def check_sandbox() -> Finding:
    """Really starts the media tools once inside bubblewrap."""
    if sandbox_available():
        return Finding(True, _("Media tools run inside the sandbox, without network."))
    done = _("refuses to work") if settings.REQUIRE_SANDBOX else _("works without it")
    return Finding(
        False,
        _(
            "The sandbox (bubblewrap) does not work here, and Sidelane %(done)s. Install it, or "
            "allow user namespaces (in a container its host has to allow them)."
        )
        % {"done": done},
    )


def check_forecast() -> Finding:
    """Is there room for the clinics that are planned?"""
    planned = Clinic.objects.filter(state=Clinic.State.PLANNED).count()
    settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
    free_gb = shutil.disk_usage(settings.DATA_DIR).free / 1e9
    need_gb = planned * CLINIC_GB + settings.FREE_SPACE_RESERVE_BYTES / 1e9
    told = {"planned": planned, "need": f"{need_gb:.0f}", "free": f"{free_gb:.0f}"}
    if need_gb > free_gb:
        return Finding(
            False,
            _(
                "%(planned)d planned clinics need about %(need)s GB with the reserve, and "
                "%(free)s GB are free. Add disk before the day."
            )
            % told,
        )
    return Finding(
        True,
        _("%(planned)d planned clinics need about %(need)s GB; %(free)s GB are free.") % told,
    )


CHECKS = (
    HealthCheck("sandbox", gettext_lazy("Sandbox"), check_sandbox),
    HealthCheck("forecast", gettext_lazy("Room for clinics"), check_forecast),
)
