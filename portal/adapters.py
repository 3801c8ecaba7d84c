"""How allauth is bent to our rules. Filled in with the sign-in."""

from __future__ import annotations

from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter


class AccountAdapter(DefaultAccountAdapter):
    def is_open_for_signup(self, request: object) -> bool:
        return False


class FactorAdapter(DefaultMFAAdapter):
    pass
