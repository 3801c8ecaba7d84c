"""Whose request it is. The middleware lets nobody without sign-in reach these views."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from django.http import HttpRequest

if TYPE_CHECKING:
    from portal.models import User


def me(request: HttpRequest) -> User:
    """The signed-in user. The fence itself lets nobody else through either."""
    return cast("User", request.user)
