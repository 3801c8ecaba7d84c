"""The request that a view gets behind the sign-in middleware."""

from __future__ import annotations

from django.http import HttpRequest

from portal.models import Membership, User


class SignedInRequest(HttpRequest):
    """Never made: it only says that `user` is a person, which the middleware sees to."""

    user: User
    portal_memberships: list[Membership]  # see portal.shell.memberships_of
