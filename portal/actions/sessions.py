"""Where somebody is signed in, and how that ends."""

from __future__ import annotations

from allauth.usersessions.models import UserSession
from django.db import transaction

from portal.actions import audit, ledger
from portal.models import User


def sessions_of(user: User) -> list[UserSession]:
    """Sign-ins that are still good; the records of others are cleared on the way."""
    listed = UserSession.objects.purge_and_list(user)
    return sorted(listed, key=lambda session: session.last_seen_at, reverse=True)


@transaction.atomic
def end_sessions(*, user: User, but: str | None = None) -> int:
    """End every session of the user, except the one with the key `but`."""
    ending = [s for s in UserSession.objects.filter(user=user) if s.session_key != but]
    for session in ending:
        session.end()
    return len(ending)


@transaction.atomic
def end_session(*, session: UserSession, by: User) -> None:
    audit.record(action="session-ended", by=by, subject=by)
    session.end()


@transaction.atomic
def deactivate(*, user: User, by: User | None) -> None:
    """Nobody signs in with this account any more, and whoever is signed in is out at once."""
    User.objects.filter(pk=user.pk).update(is_active=False)
    ledger.note_withdrawn(User._meta.label, user.pk, "")
    audit.record(action="user-deactivated", by=by, subject=user)
    end_sessions(user=user)


@transaction.atomic
def reactivate(*, user: User, by: User | None) -> None:
    User.objects.filter(pk=user.pk).update(is_active=True)
    audit.record(action="user-reactivated", by=by, subject=user)
