"""The request as views see it behind the sign-in: `request.user` is a User, not a stranger."""

from __future__ import annotations

from django.http import HttpRequest

from portal.models import Club, Membership, User


class SignedInRequest(HttpRequest):
    """For annotations only. `SignInRequiredMiddleware` turns everybody else away before."""

    user: User
    portal_memberships: list[Membership]  # remembered by `portal.shell` once it has asked
    portal_footage_clubs: list[Club]  # the same
    portal_place: str  # the name of the place it stands under (`portal.shell.stands_under`)
