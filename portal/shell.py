"""What every page shows around its content: the club's name and the places to go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.urls import reverse

from portal.freshness import owes_factor
from portal.models import Club, Membership
from portal.registry import (
    NavEntry,
    Registry,
    club_places,
    navigation,
    own_places,
    people_hooks,
)
from portal.requests import SignedInRequest


@dataclass(frozen=True)
class Place:
    label: Any
    url: str
    here: bool


def memberships_of(request: SignedInRequest) -> list[Membership]:
    """The person's memberships of today; asked once per request."""
    if not hasattr(request, "portal_memberships"):
        current = Membership.objects.current().filter(user=request.user)
        request.portal_memberships = list(current.select_related("club").order_by("from_date"))
    return request.portal_memberships


def is_admin(request: SignedInRequest) -> bool:
    return any(m.role == Membership.Role.ADMIN for m in memberships_of(request))


def places(request: SignedInRequest) -> list[Place]:
    """The two to four places this person goes to, in order."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return []
    return _listed(request, navigation)


def _listed(request: SignedInRequest, registry: Registry[NavEntry], *args: str) -> list[Place]:
    shown = sorted((e for e in registry.all() if e.shown_to(request)), key=lambda e: e.order)
    urls = [reverse(entry.url_name, args=args) for entry in shown]
    under = getattr(request, "portal_place", "")
    return [
        Place(entry.label, url, request.path.startswith(url) or entry.name == under)
        for entry, url in zip(shown, urls, strict=True)
    ]


def stands_under(request: SignedInRequest, name: str) -> None:
    """The page belongs to this place of the header, though its address does not say so."""
    request.portal_place = name


def own_places_of(request: SignedInRequest) -> list[Place]:
    """Where somebody looks after what is theirs: consent, data, who has seen it."""
    return _listed(request, own_places)


def club_places_of(request: SignedInRequest, club: Club) -> list[Place]:
    """Where an admin looks after a club."""
    return _listed(request, club_places, club.slug)


def clubs_of(request: SignedInRequest) -> list[Club]:
    """The clubs the person works for; else the clubs in whose footage they are."""
    clubs = {m.club_id: m.club for m in memberships_of(request)}
    return list(clubs.values()) or footage_clubs_of(request)


def footage_clubs_of(request: SignedInRequest) -> list[Club]:
    """The clubs in whose footage the person is; asked once per request."""
    if not hasattr(request, "portal_footage_clubs"):
        clubs: dict[Any, Club] = {}
        for hooks in people_hooks.all():
            clubs |= {club.pk: club for club in hooks.clubs(request.user)}
        request.portal_footage_clubs = list(clubs.values())
    return request.portal_footage_clubs


def is_in_footage(request: SignedInRequest) -> bool:
    return bool(footage_clubs_of(request))


def role_of(request: SignedInRequest) -> str:
    """Roles and duties in words, each once: “club admin, coach”. A duty says more than that
    somebody is crew, so it stands in its place."""
    memberships = memberships_of(request)
    if not memberships:
        return ""
    roles = {m.role: str(m.get_role_display()) for m in memberships}
    duties = [str(duty) for hooks in people_hooks.all() for duty in hooks.duties(request.user)]
    if duties:
        roles.pop(Membership.Role.CREW, None)
    named = [roles[role] for role in Membership.Role.values if role in roles]
    return ", ".join([*named, *duties])


def page_shell(request: SignedInRequest) -> dict[str, Any]:
    """For the template of every page. Whoever is not signed in gets the languages only."""
    shell: dict[str, Any] = {"languages": settings.LANGUAGES}
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return shell
    if owes_factor(request):
        return shell | {"places": [], "role": ""}
    clubs = clubs_of(request)
    return shell | {
        "places": places(request),
        "club": clubs[0] if len(clubs) == 1 else None,
        "role": role_of(request),
        "factor_is_off": not settings.SECOND_FACTOR_REQUIRED,
    }
