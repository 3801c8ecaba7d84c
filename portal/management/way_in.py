"""How the commands print a one-time way in."""

from __future__ import annotations

import json

from django.conf import settings
from django.core.management.base import BaseCommand

from portal.actions.sign_in import grouped
from portal.models import User


def print_way_in(command: BaseCommand, user: User, code: str, *, as_json: bool) -> None:
    """The code is typed after asking for one: it works in any browser, once."""
    url, minutes = f"{settings.SITE_URL}/sign-in/", settings.SIGN_IN_CODE_MINUTES
    if as_json:
        way = {"email": user.email, "url": url, "code": code, "minutes": minutes}
        command.stdout.write(json.dumps(way))
        return
    command.stdout.write(
        f"Within {minutes} minutes, in any browser:\n"
        f"  1. open   {url}\n"
        f"  2. type   {user.email}\n"
        f"  3. type   {grouped(code)}   (instead of the code from the mail)"
    )
