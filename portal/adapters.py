"""How allauth is bent to our rules."""

from __future__ import annotations

import base64
import hashlib

from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from cryptography.fernet import Fernet
from django.conf import settings
from django.http import HttpRequest

from portal.actions.limits import client_address


class AccountAdapter(DefaultAccountAdapter):
    """Accounts come from invitations and rosters; nobody signs up."""

    def is_open_for_signup(self, request: object) -> bool:
        return False

    def get_client_ip(self, request: HttpRequest) -> str:
        return client_address(request.META)


def _cipher() -> Fernet:
    key = hashlib.sha256(settings.FACTOR_KEY.encode()).digest()
    return Fernet(base64.urlsafe_b64encode(key))


class FactorAdapter(DefaultMFAAdapter):
    """Second-factor secrets are encrypted at rest, with a key that is not in the database."""

    def encrypt(self, text: str) -> str:
        return _cipher().encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        return _cipher().decrypt(encrypted_text.encode()).decode()

    def get_public_key_credential_rp_entity(self) -> dict[str, str]:
        return super().get_public_key_credential_rp_entity() | {"name": "Sidelane"}
