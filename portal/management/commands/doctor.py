"""What this installation has and lacks, with what to do about it."""

from __future__ import annotations

import ipaddress
import json
import platform
import shutil
import sys
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser

from portal.actions.health import Report, check_migrations, look_over
from portal.registry import Finding, HealthCheck, health_checks

NEEDS_RUNNING = {"workers", "sweep"}


def check_python() -> Finding:
    """The lock resolves for 3.11 to 3.13."""
    version = platform.python_version()
    if (3, 11) <= sys.version_info[:2] <= (3, 13):
        return Finding(True, f"Python {version}.")
    return Finding(False, f"Python {version}; Sidelane is made for 3.11 to 3.13.")


def check_tools() -> Finding:
    """Are the media tools there? What they can do is the sandbox check's business."""
    missing = [name for name in ("ffmpeg", "ffprobe", "bwrap") if shutil.which(name) is None]
    if missing:
        return Finding(
            False,
            f"Not found: {', '.join(missing)}. On Debian: apt-get install ffmpeg bubblewrap",
        )
    return Finding(True, "ffmpeg, ffprobe and bwrap are there.")


def check_site_url() -> Finding:
    """Passkeys need a name and a secure context; WebCodecs needs the secure context."""
    parts = urlsplit(settings.SITE_URL)
    host = parts.hostname or ""
    if parts.scheme not in {"http", "https"} or not host:
        return Finding(False, f"SITE_URL “{settings.SITE_URL}” is no http or https address.")
    if _is_ip(host):
        return Finding(
            False,
            f"SITE_URL {settings.SITE_URL} is a bare address: no passkeys there. Use a DNS name.",
        )
    local = host == "localhost" or host.endswith(".localhost")
    if parts.scheme == "http" and not local:
        return Finding(
            False,
            f"SITE_URL {settings.SITE_URL} has no HTTPS: browsers give no passkeys and no "
            "WebCodecs there. Put a certificate in front and set SITE_URL to https://…",
        )
    if host not in settings.ALLOWED_HOSTS and "*" not in settings.ALLOWED_HOSTS:
        return Finding(False, f"{host} of SITE_URL is not in ALLOWED_HOSTS.")
    return Finding(True, f"{settings.SITE_URL} is a secure context with a name.")


def _is_ip(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


OWN_CHECKS = (
    HealthCheck("python", "Python", check_python),
    HealthCheck("tools", "Media tools", check_tools),
    HealthCheck("site-url", "Address", check_site_url),
    HealthCheck("migrations", "Migrations", check_migrations),
)


class Command(BaseCommand):
    help = "Looks over the installation. Ends with 1 if something is red."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="for programs")
        parser.add_argument(
            "--before-serving", action="store_true", help="leave out what only runs while serving"
        )

    def handle(self, *, before_serving: bool, **options: Any) -> None:
        checks = [
            check
            for check in [*OWN_CHECKS, *health_checks.all()]
            if not (before_serving and check.name in NEEDS_RUNNING)
        ]
        reports = look_over(checks)
        well = all(report.finding.ok for report in reports)
        self._tell_json(reports, well) if options["json"] else self._tell(reports)
        if not well:
            raise SystemExit(1)

    def _tell(self, reports: list[Report]) -> None:
        for report in reports:
            mark = "ok " if report.finding.ok else "RED"
            self.stdout.write(f"{mark}  {report.label}: {report.finding.sentence}")

    def _tell_json(self, reports: list[Report], well: bool) -> None:
        told = [
            {"name": r.name, "ok": r.finding.ok, "sentence": str(r.finding.sentence)}
            for r in reports
        ]
        self.stdout.write(json.dumps({"ok": well, "checks": told}, ensure_ascii=False, indent=2))
