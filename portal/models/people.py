"""Who signs in, the clubs, and who works for them."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class UserManager(BaseUserManager["User"]):
    """Users by e-mail address; the address's case never matters."""

    def create_user(self, email: str, name: str = "", **fields: Any) -> User:
        user = self.model(email=email.strip().lower(), name=name, **fields)
        user.set_unusable_password()
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email__iexact=username)


class User(AbstractBaseUser):
    """Somebody who signs in, with a one-time code sent to the e-mail address."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(_("e-mail"), unique=True)
    name = models.CharField(_("name"), max_length=120, blank=True)
    language = models.CharField(_("language"), max_length=8, default="en")
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(default=timezone.now)

    USERNAME_FIELD = "email"
    objects: ClassVar[UserManager] = UserManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("email"), name="user_email_unique_whatever_case")
        ]

    def __str__(self) -> str:
        return self.name or self.email


class Club(models.Model):
    """The data controller of its clinics' footage."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    slug = models.SlugField(unique=True)
    name = models.CharField(_("name"), max_length=120)
    contact_email = models.EmailField(_("contact e-mail"), blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return self.name


class MembershipQuerySet(models.QuerySet["Membership"]):
    def current(self, today: dt.date | None = None) -> MembershipQuerySet:
        """Memberships that have begun and not ended, today in UTC."""
        today = today or timezone.now().date()
        going_on = models.Q(until_date__isnull=True) | models.Q(until_date__gte=today)
        return self.filter(going_on, from_date__lte=today)


class Membership(models.Model):
    """Who works for a club, in which role, from when and until when."""

    class Role(models.TextChoices):
        ADMIN = "admin", _("club admin")
        COACH = "coach", _("coach")
        CREW = "crew", _("crew")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey(Club, models.CASCADE, related_name="memberships")
    user = models.ForeignKey(User, models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=8, choices=Role)
    from_date = models.DateField(_("from"), default=timezone.localdate)
    until_date = models.DateField(_("until"), null=True, blank=True)

    objects = MembershipQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["club", "user", "role"], name="membership_once"),
            models.CheckConstraint(
                condition=models.Q(until_date__isnull=True)
                | models.Q(until_date__gte=models.F("from_date")),
                name="membership_ends_after_it_begins",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user}, {self.get_role_display()} of {self.club}"


class SignInCode(models.Model):
    """A one-time sign-in code, hashed, bound to the browser that asked."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField()
    user = models.ForeignKey(User, models.CASCADE, null=True)
    code_hash = models.CharField(max_length=128)
    browser_hash = models.CharField(max_length=128)  # of a secret kept in that session
    purpose = models.CharField(max_length=16, default="sign-in")
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    wrong_tries = models.PositiveSmallIntegerField(default=0)
    consumed_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["email", "expires_at"])]


class KnownDevice(models.Model):
    """A browser on which somebody signed in before."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, models.CASCADE, related_name="devices")
    token_hash = models.CharField(max_length=128, unique=True)
    label = models.CharField(max_length=120, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    last_seen_at = models.DateTimeField(default=timezone.now)


class Attempt(models.Model):
    """How often something was tried in a window of time; the counter of the rate limits."""

    key_hash = models.CharField(max_length=64)
    window_start = models.DateTimeField()
    count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["key_hash", "window_start"], name="attempt_window")
        ]
