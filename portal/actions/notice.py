"""What the notice page says of the site itself, from the settings that really apply."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from portal.actions import export, tidy
from portal.models import Club
from portal.registry import notice_parts


def told(clubs: list[Club]) -> dict[str, Any]:
    """All sections of the page, for a reader of these clubs."""
    sections: dict[str, Any] = {
        "controllers": [{"name": club.name, "email": club.contact_email} for club in clubs],
        "mail": _mail(),
        "site_kept": _site_kept(),
    }
    for part in notice_parts.all():
        sections |= part.lines(clubs)
    return sections


def _mail() -> str:
    """Through whose hands mail goes."""
    host = getattr(settings, "EMAIL_HOST", "")
    by_smtp = settings.EMAIL_BACKEND.endswith("smtp.EmailBackend")
    if not by_smtp:
        return _("This site sends no mail: it only shows it to whoever runs it.")
    if host in {"localhost", "127.0.0.1", "::1"}:
        return _("Mail goes out by the mail server on this site’s own machine.")
    return _("Mail goes by way of the mail service %(host)s.") % {"host": host}


def _site_kept() -> list[str]:
    days = settings.SESSION_COOKIE_AGE // 86_400
    return [
        _("Sign-in codes: %(time)s.")
        % {
            "time": ngettext("%(n)d minute", "%(n)d minutes", settings.SIGN_IN_CODE_MINUTES)
            % {"n": settings.SIGN_IN_CODE_MINUTES}
        },
        _("Being signed in on your own device: at most %(time)s.") % {"time": _days(days)},
        _("A device that you signed in on: %(time)s after it was last used.")
        % {"time": _days(tidy.DEVICE_DAYS)},
        _("Mail that was sent to you: %(time)s.") % {"time": _days(tidy.MAIL_DAYS)},
        _("Data that you take along: %(time)s, or until you fetched it.")
        % {"time": _days(export.KEPT.days)},
        _(
            "Backups: %(time)s. What is deleted stays in older ones until then; it does not come "
            "back when one is used."
        )
        % {"time": _days(settings.BACKUPS_KEPT_DAYS)},
        _("The record of access stays, with numbers instead of names."),
    ]


def _days(count: int) -> str:
    return ngettext("%(n)d day", "%(n)d days", count) % {"n": count}
