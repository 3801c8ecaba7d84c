"""One-time codes by mail: ask for one, use one."""

from __future__ import annotations

import datetime as dt
import logging
import secrets

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone, translation
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from portal.actions import audit
from portal.actions.mail import queue_mail
from portal.actions.people import user_for
from portal.models import KnownDevice, SignInCode, User
from portal.registry import people_hooks

CODE_DIGITS = 8
TRIES_PER_CODE = 5
SIGN_IN, FRESH, LET_IN = "sign-in", "fresh", "let-in"
log = logging.getLogger("portal.sign_in")


def _keyed_hash(purpose: str, value: str) -> str:
    """Keyed with SECRET_KEY: eight digits are too few for a hash that anyone can compute."""
    return salted_hmac(f"portal.sign_in.{purpose}", value, algorithm="sha256").hexdigest()


def _new_code() -> str:
    return f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"


def _code_hash(row: SignInCode, code: str) -> str:
    return _keyed_hash("code", f"{row.pk}:{code}")


def grouped(code: str) -> str:
    """1234 5678: easier to read aloud and to type."""
    half = len(code) // 2
    return f"{code[:half]} {code[half:]}"


def find_person(email: str) -> tuple[User | None, bool]:
    """The user with this address, and whether somebody with it may sign in.

    Every address costs the same queries: nothing here stops early.
    """
    user = User.objects.filter(email=email).first()
    on_a_list = [hooks.address_known(email) for hooks in people_hooks.all()]
    return user, user.is_active if user is not None else any(on_a_list)


@transaction.atomic
def ask_for_code(*, email: str, browser_secret: str, purpose: str = SIGN_IN) -> None:
    """Send a code to the address if somebody with it may sign in; look the same if not."""
    email, now = email.strip().lower(), timezone.now()
    user, known = find_person(email)
    browser_hash = _keyed_hash("browser", browser_secret)
    SignInCode.objects.filter(browser_hash=browser_hash, consumed_at=None).update(expires_at=now)
    row = SignInCode(
        email=email,
        user=user,
        browser_hash=browser_hash,
        purpose=purpose,
        expires_at=now + dt.timedelta(minutes=settings.SIGN_IN_CODE_MINUTES),
    )
    code = _new_code()
    row.code_hash = _code_hash(row, code if known else secrets.token_hex(16))
    row.save(force_insert=True)
    language = user.language if user is not None else translation.get_language()
    with translation.override(language):
        body = _code_mail(code if known else "00000000")
        queue_mail(to=email, subject=_("Your sign-in code"), body=body, secret=True, deliver=known)


def _code_mail(code: str) -> str:
    return _(
        "Your sign-in code:\n\n    %(code)s\n\n"
        "Type it on the page where you asked for it, or open this link there:\n%(url)s\n\n"
        "The code works once, within %(minutes)d minutes. If you did not ask for it, "
        "do nothing and tell nobody the code.\n"
    ) % {
        "code": grouped(code),
        "url": f"{settings.SITE_URL}/sign-in/confirm/#code={code}",
        "minutes": settings.SIGN_IN_CODE_MINUTES,
    }


@transaction.atomic
def take_code(*, email: str, browser_secret: str, code: str, purpose: str = SIGN_IN) -> User | None:
    """Use up a code. Returns who signs in, or None when the code is wrong, old or used.

    One conditional UPDATE decides, so of two at the same moment one wins.
    """
    email = email.strip().lower()
    mine = Q(browser_hash=_keyed_hash("browser", browser_secret), purpose=purpose)
    printed = Q(purpose=LET_IN) if purpose == SIGN_IN else Q(pk=None)
    rows = SignInCode.objects.filter(
        mine | printed,
        email=email,
        consumed_at=None,
        expires_at__gt=timezone.now(),
        wrong_tries__lt=TRIES_PER_CODE,
    )
    for row in rows:
        won = rows.filter(pk=row.pk, code_hash=_code_hash(row, code)).update(
            consumed_at=timezone.now()
        )
        if won == 1:
            return _person_signing_in(email)
    rows.filter(mine).update(wrong_tries=F("wrong_tries") + 1)
    return None


def _person_signing_in(email: str) -> User | None:
    """Swimmers on a roster get their User the first time they prove their address."""
    user, known = find_person(email)
    if not known:
        return None
    user = user or user_for(email=email)
    for hooks in people_hooks.all():
        hooks.signed_in(user)
    return user


@transaction.atomic
def print_code(*, email: str) -> tuple[User, str]:
    """A code for somebody whom mail does not reach, to be typed after asking for one.

    Any browser may use it, within the same minutes; whoever runs this command vouches.
    """
    user, known = find_person(email.strip().lower())
    if not known:
        raise LookupError(email)
    user = user or user_for(email=email)
    row = SignInCode(
        email=user.email,
        user=user,
        browser_hash="",
        purpose=LET_IN,
        expires_at=timezone.now() + dt.timedelta(minutes=settings.SIGN_IN_CODE_MINUTES),
    )
    code = _new_code()
    row.code_hash = _code_hash(row, code)
    row.save(force_insert=True)
    audit.record(action="let-in", by=None, subject=user)
    return user, code


# --- devices ----------------------------------------------------------------------------------


def device_for(token: str) -> KnownDevice | None:
    """The known device that holds this cookie."""
    if not token:
        return None
    hashed = _keyed_hash("device", token)
    return KnownDevice.objects.select_related("user").filter(token_hash=hashed).first()


def remember_device(*, user: User, token: str, label: str) -> str:
    """Note that this browser is one of the user's. Returns the token for its cookie.

    A browser new to this person: the person is told by mail.
    """
    device = device_for(token)
    if device is not None and device.user_id == user.pk:
        KnownDevice.objects.filter(pk=device.pk).update(
            last_seen_at=timezone.now(), label=label[:120]
        )
        return token
    token = secrets.token_urlsafe(32)
    first = not user.devices.exists()
    KnownDevice.objects.create(
        user=user, token_hash=_keyed_hash("device", token), label=label[:120]
    )
    if not first:
        _tell_of_new_device(user, label)
    return token


def _tell_of_new_device(user: User, label: str) -> None:
    with translation.override(user.language):
        queue_mail(
            to=user.email,
            subject=_("Signed in on a new device"),
            body=_(
                "You signed in on a device that we did not know: %(label)s.\n\n"
                "If that was not you, end that sign-in on your account page:\n%(url)s\n"
            )
            % {"label": label, "url": f"{settings.SITE_URL}/account/"},
        )
