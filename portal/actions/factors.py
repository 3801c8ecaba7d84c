"""The second factor: a passkey or an authenticator app, and recovery codes."""

from __future__ import annotations

import hmac
import time
from typing import Any

from allauth.mfa.adapter import get_adapter
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    generate_totp_secret,
    hotp_value,
)
from allauth.mfa.webauthn.internal import auth as passkeys
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from portal.actions import audit
from portal.actions.mail import queue_mail
from portal.models import Membership, User
from portal.registry import people_hooks

Kind = Authenticator.Type
FACTORS = (Kind.TOTP, Kind.WEBAUTHN)  # recovery codes stand in for one, they are none
TOTP_STEP_S = 30


def needs_second_factor(user: User) -> bool:
    """Coaches and admins, and whoever has a duty that asks for it."""
    works = Membership.objects.current().filter(user=user, role__in=["admin", "coach"])
    return works.exists() or any(h.needs_second_factor(user) for h in people_hooks.all())


def factors_of(user: User) -> list[Authenticator]:
    return list(Authenticator.objects.filter(user=user, type__in=FACTORS).order_by("created_at"))


def has_factor(user: User) -> bool:
    return Authenticator.objects.filter(user=user, type__in=FACTORS).exists()


# --- authenticator app ------------------------------------------------------------------------


def new_totp_secret() -> str:
    """Encrypted, so that it can wait in the session until the first code is typed."""
    return get_adapter().encrypt(generate_totp_secret())


def totp_picture(user: User, encrypted_secret: str) -> tuple[str, str]:
    """The secret to type, and the QR code as an SVG."""
    adapter = get_adapter()
    secret = adapter.decrypt(encrypted_secret)
    return secret, adapter.build_totp_svg(adapter.build_totp_url(user, secret))


def _matching_step(secret: str, code: str, after_step: int) -> int | None:
    """The time step a code belongs to: this one or the one before (RFC 6238, 5.2), and never
    one that was used already."""
    now_step = int(time.time()) // TOTP_STEP_S
    for step in (now_step, now_step - 1):
        expected = format_hotp_value(hotp_value(secret, step))
        if step > after_step and hmac.compare_digest(expected, code):
            return step
    return None


@transaction.atomic
def add_totp(*, user: User, encrypted_secret: str, code: str) -> bool:
    """Keep the authenticator app if the code shows that it has the secret."""
    secret = get_adapter().decrypt(encrypted_secret)
    step = _matching_step(secret, code, after_step=-1)
    if step is None:
        return False
    factor = TOTP.activate(user, secret).instance
    factor.data["last_step"] = step
    factor.save(update_fields=["data"])
    RecoveryCodes.activate(user)
    _note_change(user, factor, "factor-added")
    return True


@transaction.atomic
def use_code(*, user: User, code: str) -> bool:
    """Use a code of the authenticator app, or a recovery code. Each works once."""
    rows = Authenticator.objects.select_for_update().filter(user=user)
    totp = rows.filter(type=Kind.TOTP).first()
    if totp is not None and _use_totp(totp, code):
        return True
    recovery = rows.filter(type=Kind.RECOVERY_CODES).first()
    if recovery is None or not RecoveryCodes(recovery).validate_code(code):
        return False
    audit.record(action="recovery-code-used", by=user, subject=user)
    Authenticator.objects.filter(pk=recovery.pk).update(last_used_at=timezone.now())
    return True


def _use_totp(factor: Authenticator, code: str) -> bool:
    secret = get_adapter().decrypt(factor.data["secret"])
    step = _matching_step(secret, code, after_step=factor.data.get("last_step", -1))
    if step is None:
        return False
    factor.data["last_step"] = step
    factor.last_used_at = timezone.now()
    factor.save(update_fields=["data", "last_used_at"])
    return True


# --- passkeys: these functions read and write the challenge in the session of the request ------


def passkey_creation(user: User) -> dict[str, Any]:
    return passkeys.begin_registration(user, passwordless=True)


@transaction.atomic
def add_passkey(*, user: User, name: str, credential: dict[str, Any]) -> bool:
    try:
        passkeys.parse_registration_response(credential)
        data = passkeys.complete_registration(credential)
    except (ValidationError, KeyError, ValueError, TypeError):
        return False
    if not data.is_user_verified():
        return False
    factor = passkeys.WebAuthn.add(user, name.strip() or _("Passkey"), credential).instance
    RecoveryCodes.activate(user)
    _note_change(user, factor, "factor-added")
    return True


def passkey_request(user: User | None) -> dict[str, Any]:
    return passkeys.begin_authentication(user)


@transaction.atomic
def use_passkey(*, user: User | None, credential: dict[str, Any]) -> User | None:
    """Whose passkey this is. `user` None: the passkey itself says who it belongs to."""
    try:
        passkeys.parse_authentication_response(credential)
        person = user or passkeys.extract_user_from_response(credential)
        factor = passkeys.complete_authentication(person, credential)
    except (ValidationError, KeyError, ValueError, TypeError, AttributeError):
        return None
    if not person.is_active:
        return None
    factor.record_usage()
    return person


# --- recovery codes and changes -----------------------------------------------------------------


def unused_recovery_codes(user: User) -> list[str]:
    """Made with the first factor."""
    row = Authenticator.objects.filter(user=user, type=Kind.RECOVERY_CODES).first()
    return RecoveryCodes(row).get_unused_codes() if row is not None else []


@transaction.atomic
def new_recovery_codes(*, user: User) -> list[str]:
    Authenticator.objects.filter(user=user, type=Kind.RECOVERY_CODES).delete()
    audit.record(action="recovery-codes-made", by=user, subject=user)
    return RecoveryCodes.activate(user).get_unused_codes()


@transaction.atomic
def remove_factor(*, user: User, factor: Authenticator) -> None:
    _note_change(user, factor, "factor-removed")
    factor.delete()
    if not has_factor(user):
        Authenticator.objects.filter(user=user).delete()


@transaction.atomic
def reset_factors(*, user: User) -> int:
    """Remove every factor and end every session, for somebody who lost them."""
    from portal.actions.sessions import end_sessions

    count = Authenticator.objects.filter(user=user, type__in=FACTORS).count()
    Authenticator.objects.filter(user=user).delete()
    audit.record(action="factors-reset", by=None, subject=user, detail={"count": count})
    end_sessions(user=user)
    _tell(user, _("Your second factors were removed"))
    return count


def _note_change(user: User, factor: Authenticator, action: str) -> None:
    audit.record(action=action, by=user, subject=user, detail={"kind": factor.type})
    with translation.override(user.language):
        added = action == "factor-added"
        subject = _("A second factor was added") if added else _("A second factor was removed")
    _tell(user, subject)


def _tell(user: User, subject: str) -> None:
    with translation.override(user.language):
        body = _("%(what)s on your account. If that was not you, tell your club's admin.\n")
    queue_mail(to=user.email, subject=subject, body=body % {"what": subject})
