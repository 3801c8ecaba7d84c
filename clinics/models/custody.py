"""Copies outside the site: cards, phones and laptops of one clinic, until they are wiped."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class Custody(models.Model):
    """One carrier of footage: who has it, whether it is safely in, and who wiped it when."""

    class Kind(models.TextChoices):
        CARD = "card", _("memory card")
        PHONE = "phone", _("phone")
        LAPTOP = "laptop", _("laptop")
        DRIVE = "drive", _("drive or stick")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, related_name="custody")
    kind = models.CharField(max_length=6, choices=Kind)
    label = models.CharField(_("what is written on it"), max_length=120)
    station = models.ForeignKey(
        "clinics.Station", models.SET_NULL, null=True, blank=True, related_name="+"
    )
    holder = models.CharField(_("handed to"), max_length=120)
    handed_at = models.DateTimeField(default=timezone.now)
    # a phone that copies its pictures to a service by itself has copies nobody thinks of
    copies_itself_off_at = models.DateTimeField(null=True)
    safely_in_at = models.DateTimeField(null=True)
    wiped_at = models.DateTimeField(null=True)
    wiped_by_name = models.CharField(_("wiped by"), max_length=120, blank=True)
    noted_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["handed_at"]
        verbose_name_plural = "custody"
