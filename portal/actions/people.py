"""Who works for a club: invite, end, begin with the first admin."""

from __future__ import annotations

import datetime as dt

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from portal.actions import audit, ledger
from portal.actions.mail import queue_mail
from portal.models import Club, Membership, User


class NotPossible(Exception):
    """A sentence for the person who asked."""


def user_for(*, email: str, name: str = "") -> User:
    """The user with this address, made if there is none; a name is filled in, never replaced."""
    email = email.strip().lower()
    user = User.objects.filter(email=email).first()
    if user is None:
        try:
            with transaction.atomic():
                return User.objects.create_user(email, name.strip())
        except IntegrityError:  # somebody else made it a moment ago
            user = User.objects.get(email=email)
    if name.strip() and not user.name:
        user.name = name.strip()
        user.save(update_fields=["name"])
    return user


@transaction.atomic
def invite(
    *,
    club: Club,
    email: str,
    name: str,
    role: str,
    by: User | None,
    from_date: dt.date | None = None,
    until_date: dt.date | None = None,
) -> Membership:
    """Give somebody a role in a club and tell them by mail how to sign in.

    Inviting again with the same role renews the membership: its dates become the new ones.
    """
    if role not in Membership.Role.values:
        raise NotPossible(_("“%(role)s” is not a role. Choose one of the list.") % {"role": role})
    from_date = from_date or timezone.localdate()
    if until_date is not None and until_date < from_date:
        raise NotPossible(_("The last day lies before the first. Change one of them."))
    user = user_for(email=email, name=name)
    if not user.is_active:
        raise NotPossible(_("This person's account is closed. Ask whoever runs this site."))
    membership, _made = Membership.objects.update_or_create(
        club=club,
        user=user,
        role=role,
        defaults={"from_date": from_date, "until_date": until_date},
    )
    audit.record(
        action="person-invited",
        by=by,
        subject=membership,
        club=club,
        detail={"user": str(user.pk), "role": role, "from": from_date, "until": until_date},
    )
    _send_invitation(membership)
    return membership


def _send_invitation(membership: Membership) -> None:
    user, club = membership.user, membership.club
    with translation.override(user.language):
        body = _(
            "Hello %(name)s,\n\n%(club)s invites you as %(role)s, from %(from)s.\n\n"
            "Sign in with this e-mail address at\n%(url)s\n"
            "You get a code by mail each time; there is no password.\n"
        ) % {
            "name": user.name or user.email,
            "club": club.name,
            "role": membership.get_role_display(),
            "from": date_format(membership.from_date, "DATE_FORMAT"),
            "url": f"{settings.SITE_URL}/sign-in/",
        }
        if membership.until_date is not None:
            ends = date_format(membership.until_date, "DATE_FORMAT")
            body += _("\nIt ends by itself after %(until)s.\n") % {"until": ends}
        subject = _("%(club)s invites you") % {"club": club.name}
    queue_mail(to=user.email, subject=subject, body=body)


@transaction.atomic
def end_membership(*, membership: Membership, by: User | None) -> Membership:
    """The membership ends with yesterday; one that has not begun goes. Sessions of this
    person stay: what they may see is asked anew at each request."""
    club, today = membership.club, timezone.localdate()
    others = Membership.objects.select_for_update().current().filter(club=club, role="admin")
    admins = list(others)
    if membership in admins and len(admins) == 1:
        raise NotPossible(
            _("%(club)s needs at least one club admin. Invite another one first.")
            % {"club": club.name}
        )
    audit.record(
        action="membership-ended",
        by=by,
        subject=membership,
        club=club,
        detail={"user": str(membership.user_id), "role": membership.role},
    )
    ledger.note_withdrawn(Membership._meta.label, membership.pk, "")
    yesterday = today - dt.timedelta(days=1)
    if membership.from_date > yesterday:
        membership.delete()
    else:
        membership.until_date = yesterday
        membership.save(update_fields=["until_date"])
    return membership


@transaction.atomic
def first_admin(*, email: str, club_slug: str, club_name: str = "") -> tuple[Membership, bool]:
    """Make a club and its first admin, from the command line. Returns whether it is new.

    A club that has an admin gets the next one by invitation.
    """
    club = Club.objects.filter(slug=club_slug).first()
    if club is None and not club_name:
        raise NotPossible(
            f"There is no club “{club_slug}” yet. Give its name with --club-name to make it."
        )
    club = club or Club.objects.create(slug=club_slug, name=club_name.strip())
    admins = club.memberships.current().filter(role=Membership.Role.ADMIN)
    mine = admins.filter(user__email=email.strip().lower()).first()
    if mine is not None:
        return mine, False
    if admins.exists():
        raise NotPossible(
            f"{club.name} has an admin. Ask them to invite {email} on the page People, "
            "or let them in with let_in."
        )
    user = user_for(email=email)
    membership, _made = Membership.objects.update_or_create(
        club=club,
        user=user,
        role=Membership.Role.ADMIN,
        defaults={"from_date": timezone.localdate(), "until_date": None},
    )
    audit.record(
        action="first-admin", by=None, subject=membership, club=club, detail={"user": str(user.pk)}
    )
    return membership, True
