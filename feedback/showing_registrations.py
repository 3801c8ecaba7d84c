"""Where people find what is shown to them, and whom they show theirs."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal.models import Membership
from portal.registry import NavEntry, navigation, own_places
from portal.requests import SignedInRequest
from portal.shell import footage_clubs_of, memberships_of


def register_showing() -> None:
    own_places.register(
        NavEntry("group", _("Swims of your clinic"), "feedback:group", 10, shown_to=_swims)
    )
    own_places.register(
        NavEntry("shown", _("Whom you show yours"), "feedback:shown", 20, shown_to=_swims)
    )
    navigation.register(
        NavEntry("shelf", _("Teaching shelf"), "feedback:shelf", 25, shown_to=_coaches)
    )


def _swims(request: SignedInRequest) -> bool:
    return bool(footage_clubs_of(request))


def _coaches(request: SignedInRequest) -> bool:
    return any(m.role == Membership.Role.COACH for m in memberships_of(request))
