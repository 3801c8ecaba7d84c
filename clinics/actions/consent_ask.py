"""Asking swimmers: personal links, and the mail that carries them.

A link is for one swimmer, ends by itself, shows no footage, and is stored as a hash only. A
later link of the same swimmer ends the earlier ones.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clinics.models import Clinic, ConsentRequest, Swimmer
from portal.actions.audit import record
from portal.actions.mail import queue_mail

if TYPE_CHECKING:
    import uuid

    from portal.models import User

LINK_LASTS = dt.timedelta(days=30)
ASKED_LATELY = dt.timedelta(hours=24)  # a second click on “ask” writes nobody a second time


@dataclass
class Asked:
    """What asking came to: whom a mail goes to, and whom somebody has to ask in person."""

    mailed: list[Swimmer] = field(default_factory=list)
    lately: list[Swimmer] = field(default_factory=list)
    no_address: list[Swimmer] = field(default_factory=list)


def token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def valid_requests() -> Q:
    return Q(ended_at__isnull=True, expires_at__gt=timezone.now())


def find_request(token: str) -> ConsentRequest | None:
    """The request that the link belongs to, while it is good."""
    found = ConsentRequest.objects.filter(valid_requests(), token_hash=token_hash(token))
    return found.select_related("swimmer__club", "clinic").first()


def open_request(pk: uuid.UUID | str) -> ConsentRequest | None:
    """The request that a session has opened; on each request, since links end."""
    found = ConsentRequest.objects.filter(valid_requests(), pk=pk)
    return found.select_related("swimmer__club", "clinic").first()


def _must_run(swimmers: Iterable[Swimmer], by: User) -> None:
    wanted = {swimmer.pk for swimmer in swimmers}
    if Swimmer.objects.managed_by(by).filter(pk__in=wanted).count() != len(wanted):
        raise PermissionDenied("only an admin of the club asks its swimmers")


@transaction.atomic
def make_link(*, swimmer: Swimmer, clinic: Clinic | None, by: User) -> str:
    """A personal link to hand over; the earlier ones of this swimmer end. Shown once."""
    _must_run([swimmer], by)
    return _link(_request(swimmer, clinic, by)[1])


def _request(swimmer: Swimmer, clinic: Clinic | None, by: User) -> tuple[ConsentRequest, str]:
    now, token = timezone.now(), secrets.token_urlsafe(32)
    ConsentRequest.objects.filter(swimmer=swimmer, ended_at__isnull=True).update(ended_at=now)
    row = ConsentRequest.objects.create(
        swimmer=swimmer,
        clinic=clinic,
        token_hash=token_hash(token),
        asked_at=now,
        asked_by=by,
        expires_at=now + LINK_LASTS,
    )
    told = {"request": str(row.pk)}
    record(action="consent.ask", by=by, subject=swimmer, club=swimmer.club, detail=told)
    return row, token


def _link(token: str) -> str:
    return settings.SITE_URL.rstrip("/") + reverse("clinics:sign-link", args=[token])


@transaction.atomic
def ask(*, swimmers: Iterable[Swimmer], clinic: Clinic | None, by: User) -> Asked:
    """One act: a mail with a personal link to each who has an address. Who was written to
    within a day and has not answered is not written to again."""
    swimmers = list(swimmers)
    _must_run(swimmers, by)
    lately = set(
        ConsentRequest.objects.filter(
            valid_requests(),
            swimmer__in=swimmers,
            answered_at__isnull=True,
            mailed_at__gt=timezone.now() - ASKED_LATELY,
        ).values_list("swimmer_id", flat=True)
    )
    asked = Asked()
    for swimmer in swimmers:
        if not _address(swimmer):
            asked.no_address.append(swimmer)
        elif swimmer.pk in lately:
            asked.lately.append(swimmer)
        else:
            _mail(swimmer, clinic, by)
            asked.mailed.append(swimmer)
    return asked


def _address(swimmer: Swimmer) -> str:
    return swimmer.user.email if swimmer.user else swimmer.email


def _mail(swimmer: Swimmer, clinic: Clinic | None, by: User) -> None:
    row, token = _request(swimmer, clinic, by)
    row.mailed_at = row.asked_at
    row.save(update_fields=["mailed_at"])
    language = swimmer.user.language if swimmer.user else by.language
    with translation.override(language):
        subject, body = _words(swimmer, clinic, _link(token), row.expires_at)
    queue_mail(to=_address(swimmer), subject=subject, body=body, secret=True)


def _words(
    swimmer: Swimmer, clinic: Clinic | None, link: str, until: dt.datetime
) -> tuple[str, str]:
    told = {
        "name": swimmer.name,
        "club": swimmer.club.name,
        "clinic": clinic.name if clinic else "",
        "date": date_format(clinic.date) if clinic else "",
        "link": link,
        "until": date_format(until),
    }
    if clinic:
        subject = _("May we film you? %(clinic)s, %(date)s") % told
        first = _("%(club)s films at “%(clinic)s” on %(date)s, and only whom it may film.") % told
    else:
        subject = _("%(club)s asks you about being filmed") % told
        first = _("%(club)s films at its clinics, and only whom it may film.") % told
    ask = _(
        "%(name)s, please read what happens with the pictures and say yes or no, "
        "to each purpose by itself:\n\n%(link)s\n\n"
        "The link is for you alone and works until %(until)s. It needs no account. "
        "What you say you can change at any time."
    )
    return subject, f"{first}\n\n{ask % told}\n"
