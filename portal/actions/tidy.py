"""What the sign-in leaves behind does not stay: codes, tries, sessions, sent mail."""

from __future__ import annotations

import datetime as dt

from django.contrib.sessions.models import Session
from django.utils import timezone

from portal.models import Attempt, KnownDevice, OutboxMail, SignInCode

MAIL_DAYS = 30  # as the notice says of logs
DEVICE_DAYS = 365  # as long as its cookie


def forget_what_is_old() -> int:
    """A step of the sweep. Returns how many rows went."""
    now = timezone.now()
    yesterday = now - dt.timedelta(days=1)
    old = (
        SignInCode.objects.filter(expires_at__lt=yesterday),
        Attempt.objects.filter(window_start__lt=yesterday),
        Session.objects.filter(expire_date__lt=now),
        OutboxMail.objects.filter(created_at__lt=now - dt.timedelta(days=MAIL_DAYS)),
        KnownDevice.objects.filter(last_seen_at__lt=now - dt.timedelta(days=DEVICE_DAYS)),
    )
    return sum(rows.delete()[0] for rows in old)
