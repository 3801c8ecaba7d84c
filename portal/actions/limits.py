"""How often something may be tried: a sliding window counted in the database.

In the database, because several web processes share it. One row per try; keys are hashed,
so the table holds neither addresses of people nor of their networks.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import math
from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.utils import timezone
from django.utils.crypto import salted_hmac

from portal.models import Attempt


class TooOften(Exception):
    """The limit is reached; it opens again in `retry_after_s` seconds."""

    def __init__(self, retry_after_s: int) -> None:
        super().__init__(f"too often, try again in {retry_after_s} s")
        self.retry_after_s = retry_after_s


def _hashed(key: str) -> str:
    return salted_hmac("portal.limits", key, algorithm="sha256").hexdigest()


def _window() -> dt.timedelta:
    return dt.timedelta(minutes=settings.TRY_WINDOW_MINUTES)


def count_try(key: str, *, at_most: int, window: dt.timedelta | None = None) -> None:
    """Count one try, or raise TooOften. Always two queries when it is allowed.

    The row is written before counting, so that parallel tries cannot both be the last one.
    A refused try is taken back: the time said in `retry_after_s` stays true.
    """
    window = window or _window()
    now, hashed = timezone.now(), _hashed(key)
    Attempt.objects.bulk_create(
        [Attempt(key_hash=hashed, window_start=now, count=1)], ignore_conflicts=True
    )
    tries = Attempt.objects.filter(key_hash=hashed, window_start__gt=now - window)
    times = sorted(tries.values_list("window_start", flat=True))
    if len(times) <= at_most:
        return
    Attempt.objects.filter(key_hash=hashed, window_start=now).delete()
    opens_at = times[len(times) - 1 - at_most] + window
    raise TooOften(max(1, math.ceil((opens_at - now).total_seconds())))


def give_back(key: str) -> None:
    """Take back the newest try, because it led to what it was meant for."""
    newest = Attempt.objects.filter(key_hash=_hashed(key)).order_by("-window_start").first()
    if newest is not None:
        newest.delete()


def forget_tries(key: str) -> None:
    Attempt.objects.filter(key_hash=_hashed(key)).delete()


def client_address(meta: Mapping[str, Any]) -> str:
    """The address of the client as our own proxies saw it.

    Each of our proxies appends the address it was called from to X-Forwarded-For, so the one
    that counts stands as many places from the right as there are proxies. What stands to the
    left of it was written by the client and is never believed.
    """
    remote = str(meta.get("REMOTE_ADDR") or "0.0.0.0")  # noqa: S104 (no address known)
    proxies = settings.TRUSTED_PROXIES
    chain = [part.strip() for part in str(meta.get("HTTP_X_FORWARDED_FOR", "")).split(",")]
    if proxies and len(chain) >= proxies:
        remote = chain[-proxies]
    try:
        return str(ipaddress.ip_address(remote))
    except ValueError:
        return "0.0.0.0"  # noqa: S104 (unreadable: all such share one limit)


def address_key(meta: Mapping[str, Any]) -> str:
    """One household has a /64 of IPv6 addresses: they count as one."""
    address = ipaddress.ip_address(client_address(meta))
    if address.version == 6:
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)
