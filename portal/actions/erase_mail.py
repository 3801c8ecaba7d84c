"""The mail about an erasure: the only one, since afterwards the address is gone, too."""

from __future__ import annotations

from django.conf import settings
from django.urls import reverse
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from portal.actions.mail import queue_mail
from portal.models import PersonRequest


def write_to_who_wants_it(row: PersonRequest) -> None:
    """When it is deleted, how it is taken back, and where the certificate will be: an address
    that nobody guesses."""
    assert row.user is not None and row.act_at is not None
    site = settings.SITE_URL.rstrip("/")
    with translation.override(row.user.language):
        told = {
            "club": row.club.name,
            "day": date_format(row.act_at, "DATETIME_FORMAT"),
            "back": site + reverse("clinics:my-data"),
            "certificate": site + reverse("portal:erased", args=[row.pk]),
        }
        body = _(
            "You want %(club)s to erase what it keeps about you. From now on nobody else sees "
            "any of it. It is deleted after %(day)s (UTC).\n\n"
            "Until then you can take this back here:\n%(back)s\n\n"
            "Afterwards the certificate is here; keep this address, since we will not have "
            "yours any more:\n%(certificate)s\n"
        )
        queue_mail(to=row.user.email, subject=_("Your data will be erased"), body=body % told)
