"""What is mailed to who signed up, in the language of the form; and the personal link in it.

The link is worked out from the sign-up and the site's key, so that every mail carries the same
and none is kept. It is good for as long as the sign-up is there. Nothing of what was written for
coaches stands in a mail.
"""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.conf import settings
from django.urls import reverse
from django.utils import translation
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clinics.models import SignUp
from portal.actions.mail import queue_mail
from portal.models import User

if TYPE_CHECKING:
    from collections.abc import Callable

SALT = "clinics.sign-up-link"
PERSONAL_LINK_WORKS_DAYS = 3  # while nobody has confirmed it


def _mac(pk: uuid.UUID) -> str:
    return salted_hmac(SALT, pk.hex, algorithm="sha256").hexdigest()[:40]


def personal_token(sign_up: SignUp) -> str:
    return f"{sign_up.pk.hex}-{_mac(sign_up.pk)}"


def find_by_token(token: str) -> SignUp | None:
    """The sign-up that a personal link belongs to, while it is there."""
    told, _dash, mac = token.partition("-")
    try:
        pk = uuid.UUID(hex=told)
    except ValueError:
        return None
    if not constant_time_compare(mac, _mac(pk)):
        return None
    return find_by_pk(pk)


def find_by_pk(pk: uuid.UUID | str) -> SignUp | None:
    rows = SignUp.objects.select_related("sheet__clinic__club", "swimmer__club", "user")
    return rows.filter(pk=pk).first()


def personal_link(sign_up: SignUp) -> str:
    path = reverse("clinics:sign-up-mine-link", args=[personal_token(sign_up)])
    return settings.SITE_URL.rstrip("/") + path


def _write(sign_up: SignUp, words: Callable[[dict[str, str]], tuple[str, str]]) -> None:
    """`words(told)` says subject and body; nobody without an address is written to."""
    if not sign_up.email:
        return
    clinic = sign_up.sheet.clinic
    with translation.override(sign_up.language):
        told = {
            "name": sign_up.name,
            "club": clinic.club.name,
            "clinic": clinic.name,
            "date": date_format(clinic.date),
            "venue": clinic.venue,
            "contact": clinic.club.contact_email,
            "link": personal_link(sign_up),
        }
        subject, body = words(told)
        where = _("%(club)s, “%(clinic)s”, %(date)s, %(venue)s") % told
    queue_mail(to=sign_up.email, subject=subject, body=f"{body}\n\n{where}\n", secret=True)


def ask_to_confirm(sign_up: SignUp) -> None:
    """Whether or not this address signed up before, the mail is the same."""

    def words(told: dict[str, str]) -> tuple[str, str]:
        body = _(
            "Somebody signed up %(name)s for “%(clinic)s” on %(date)s with this address. It "
            "counts once you say that it was you:\n\n%(link)s\n\n"
            "The place, or the place on the waiting list, is given at that moment. If it was not "
            "you, do nothing: it is deleted after %(days)s days."
        )
        told = {**told, "days": str(PERSONAL_LINK_WORKS_DAYS)}
        return _("Confirm your sign-up: %(clinic)s, %(date)s") % told, body % told

    _write(sign_up, words)


def _see_and_change(told: dict[str, str]) -> str:
    return (
        _("What you said, to see, change or take back. The link is yours alone:\n%(link)s") % told
    )


def tell_signed_up(sign_up: SignUp, *, films: bool | None) -> None:
    def words(told: dict[str, str]) -> tuple[str, str]:
        body = _("%(name)s, you have a place.") % told
        parts = [body, _about_filming(films), _see_and_change(told)]
        return _("You have a place: %(clinic)s, %(date)s") % told, "\n\n".join(filter(None, parts))

    _write(sign_up, words)


def tell_waiting(sign_up: SignUp, *, place: int, films: bool | None) -> None:
    def words(told: dict[str, str]) -> tuple[str, str]:
        told = {**told, "place": str(place)}
        body = _(
            "%(name)s, all places are taken. You are number %(place)s on the waiting list. When "
            "a place comes free and it is your turn, we write to you."
        )
        parts = [body % told, _about_filming(films), _see_and_change(told)]
        subject = _("You are number %(place)s on the waiting list: %(clinic)s, %(date)s")
        return subject % told, "\n\n".join(filter(None, parts))

    _write(sign_up, words)


def _about_filming(films: bool | None) -> str:
    """Who said no is told, since an empty box may have been overlooked. None: not asked yet."""
    if films:
        return ""
    if films is None:
        return _("The club asks you whether it may film you. Please answer by the link.")
    return _(
        "You did not agree to be filmed. You are welcome to swim all the same, and nobody films "
        "you. If you overlooked the box, say so by the link."
    )


def tell_moved_up(sign_up: SignUp) -> None:
    def words(told: dict[str, str]) -> tuple[str, str]:
        body = _(
            "%(name)s, a place came free and it is yours. If you cannot come any more, take "
            "your sign-up back soon, so that the next one gets it."
        )
        parts = [body % told, _see_and_change(told)]
        return _("You have a place now: %(clinic)s, %(date)s") % told, "\n\n".join(parts)

    _write(sign_up, words)


def tell_taken_in(sign_up: SignUp, *, number: int) -> None:
    def words(told: dict[str, str]) -> tuple[str, str]:
        told = {**told, "number": str(number)}
        body = _(
            "%(name)s, you are in the running order with number %(number)s. Say this number "
            "at the pool."
        )
        parts = [body % told, _see_and_change(told)]
        return _("Your number is %(number)s: %(clinic)s, %(date)s") % told, "\n\n".join(parts)

    _write(sign_up, words)


def tell_withdrawn(sign_up: SignUp) -> None:
    def words(told: dict[str, str]) -> tuple[str, str]:
        body = _(
            "%(name)s, your sign-up is taken back. What you wrote for the coaches is deleted, "
            "and the place goes to whoever waits."
        )
        return _("Taken back: %(clinic)s, %(date)s") % told, body % told

    _write(sign_up, words)


def tell_declined(sign_up: SignUp, *, words_of_club: str = "") -> None:
    def words(told: dict[str, str]) -> tuple[str, str]:
        body = _(
            "%(name)s, thank you for signing up. We are sorry: this time there is no place for "
            "you. What you wrote for the coaches is deleted."
        )
        ask = _("If you have a question, write to %(contact)s.") if told["contact"] else ""
        parts = [body % told, words_of_club.strip(), ask % told if ask else ""]
        return _("About your sign-up: %(clinic)s, %(date)s") % told, "\n\n".join(
            filter(None, parts)
        )

    _write(sign_up, words)


def tell_admins_of_withdrawal(sign_up: SignUp, *, number: int) -> None:
    """Somebody in the running order does not come: only a person changes the plan for that."""
    clinic = sign_up.sheet.clinic
    memberships = clinic.club.memberships.current().filter(role="admin")
    path = reverse("clinics:sign-ups", args=[clinic.pk])
    told = {"name": sign_up.name, "number": number, "clinic": clinic.name}
    told["link"] = settings.SITE_URL.rstrip("/") + path
    for admin in User.objects.filter(pk__in=memberships.values("user"), is_active=True):
        with translation.override(admin.language):
            body = _(
                "%(name)s, number %(number)s in the running order of “%(clinic)s”, does not "
                "come. The running order stays as it is until you change it:\n%(link)s\n"
            )
            subject = _("%(name)s does not come: %(clinic)s")
            queue_mail(to=admin.email, subject=subject % told, body=body % told)
