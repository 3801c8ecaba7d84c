"""What the site itself erases of a person: requests and their files, mail, and the account.

The account goes with the last club: not while the person is in another club's footage, and not
if they ever worked for a club, since what they did there stands under their name.
"""

from __future__ import annotations

import json
from collections.abc import Iterator

from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from portal.actions import audit, files, redact
from portal.actions.export import forget_export
from portal.actions.requests import persons_of
from portal.models import Job, Membership, OutboxMail, PersonRequest, SignInCode, User
from portal.registry import Found, Person, PersonStep

# --- requests ------------------------------------------------------------------------------------


def _requests(person: Person) -> QuerySet[PersonRequest]:
    """All but the erasure that is going on or still to come."""
    rows = PersonRequest.objects.filter(subject_kind=person.kind, subject_id=person.id)
    going = Q(kind=PersonRequest.Kind.ERASE, state__in=PersonRequest.OPEN_STATES)
    return rows.exclude(going).exclude(kind=PersonRequest.Kind.ERASE, state="done")


def find_requests(person: Person) -> Found:
    rows = _requests(person).select_related("stored")
    stored = tuple(row.stored for row in rows if row.stored is not None)
    return Found({"requests": len(rows)}, stored)


def erase_requests(person: Person) -> None:
    for row in _requests(person).select_related("stored__club"):
        files.forget_work(f"export-{row.pk.hex}")
        with transaction.atomic():
            Job.objects.filter(subject_kind=row._meta.label, subject_id=row.pk).delete()
            forget_export(row)
            row.delete()


# --- mail ----------------------------------------------------------------------------------------


def _mail_to(person: Person) -> QuerySet[OutboxMail]:
    to = Q(pk__in=[])
    for address in person.emails:
        to |= Q(to__iexact=address)
    return OutboxMail.objects.filter(to)


def _mail_naming(person: Person) -> Iterator[OutboxMail]:
    """Mail to others in which the name or an address stands."""
    for mail in OutboxMail.objects.iterator():
        if any(redact.names(mail.subject + "\n" + mail.body, told) for told in _told(person)):
            yield mail


def _told(person: Person) -> list[str]:
    return [told for told in (person.name, *person.emails) if told]


def find_mail(person: Person) -> Found:
    ours = set(_mail_to(person).values_list("pk", flat=True))
    naming = {mail.pk for mail in _mail_naming(person)} - ours
    codes = SignInCode.objects.filter(email__in=person.emails).count()
    return Found({"mail": len(ours), "mail-naming": len(naming), "codes": codes})


@transaction.atomic
def erase_mail(person: Person) -> None:
    mine = _mail_to(person)
    Job.objects.filter(
        subject_kind=OutboxMail._meta.label, subject_id__in=mine.values("pk")
    ).delete()
    mine.delete()
    for mail in list(_mail_naming(person)):
        for told in _told(person):
            mail.subject = redact.without(mail.subject, told)
            mail.body = redact.without(mail.body, told)
        mail.save(update_fields=["subject", "body"])
    SignInCode.objects.filter(email__in=person.emails).delete()


# --- the account ---------------------------------------------------------------------------------


def account_goes(person: Person) -> bool:
    user = person.user
    if user is None or not User.objects.filter(pk=user.pk).exists():
        return False
    if Membership.objects.filter(user=user).exists():
        return False
    return all(other.id == person.id for other in persons_of(user))


def find_account(person: Person) -> Found:
    user = person.user
    if user is None or not User.objects.filter(pk=user.pk).exists():
        return Found()
    if not account_goes(person):
        return Found(kept={"account": 1})
    sessions = sum(1 for _one in _sessions(user))
    return Found(
        {"account": 1, "devices": user.devices.count(), "sessions": sessions}  # type: ignore[attr-defined]
    )


def erase_account(person: Person) -> None:
    """Signed out everywhere, then gone: with its devices, factors and codes."""
    user = person.user
    if user is None or not account_goes(person):
        return
    with transaction.atomic():
        as_other = Person(person.kind, person.id, person.club, user.name, (user.email,))
        erase_mail(as_other)
        for session in list(_sessions(user)):
            session.delete()
        audit.record(action="user-erased", by=None, subject=user, club=person.club)
        User.objects.filter(pk=user.pk).delete()  # `person.user` keeps its id for the check


def _sessions(user: User) -> Iterator[Session]:
    """Sessions of this person, and of whoever asked for a code for this address."""
    for session in Session.objects.iterator():
        told = session.get_decoded()
        if told.get("_auth_user_id") == str(user.pk) or user.email in json.dumps(told, default=str):
            yield session


STEPS = (
    PersonStep(
        name="requests",
        order=10,
        find=find_requests,
        run=erase_requests,
        labels={"requests": _("other requests of yours, and their files")},
    ),
    PersonStep(
        name="mail",
        order=80,
        find=find_mail,
        run=erase_mail,
        labels={
            "mail": _("mails to you, of the last 30 days"),
            "mail-naming": _("mails to others that name you: your name is taken out"),
            "codes": _("sign-in codes"),
        },
    ),
    PersonStep(
        name="account",
        order=100,
        find=find_account,
        run=erase_account,
        labels={
            "account": _("your account: e-mail address, name, second factor"),
            "devices": _("devices that you signed in on"),
            "sessions": _("places where you are signed in"),
        },
    ),
)
