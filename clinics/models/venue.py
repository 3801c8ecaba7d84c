"""The pool as it is on the clinic's day: who allows filming, what the water is like, what there
is. Empty means: nobody has said."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _


class VenueSheet(models.Model):
    class Permission(models.TextChoices):
        NOT_ASKED = "not-asked", _("not asked yet")
        ASKED = "asked", _("asked, no answer yet")
        GIVEN = "given", _("given")
        REFUSED = "refused", _("refused")

    clinic = models.OneToOneField(
        "clinics.Clinic", models.CASCADE, primary_key=True, related_name="venue_sheet"
    )
    # filming
    operator = models.CharField(_("pool operator"), max_length=120, blank=True)
    operator_contact = models.CharField(_("how to reach the operator"), max_length=200, blank=True)
    permission = models.CharField(
        _("permission to film"), max_length=9, choices=Permission, default=Permission.NOT_ASKED
    )
    permission_by = models.CharField(_("given by"), max_length=120, blank=True)
    permission_on = models.DateField(_("given on"), null=True, blank=True)
    permission_says = models.TextField(_("what it says"), max_length=2000, blank=True)
    # who else is in the hall
    other_users = models.TextField(_("who else is in the hall"), max_length=2000, blank=True)
    juniors_in_hall = models.BooleanField(
        _("juniors train in the hall at that time"), null=True, blank=True
    )
    juniors_settled = models.TextField(
        _("what was settled with the juniors' coaches"), max_length=2000, blank=True
    )
    # the water
    lanes = models.PositiveSmallIntegerField(
        _("lanes"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(20)]
    )
    lane_m = models.FloatField(
        _("width of a lane, metres"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(5)],
    )
    ropes_out = models.JSONField(default=list, blank=True)  # rope n lies between lanes n and n + 1
    flags_m = models.FloatField(
        _("backstroke flags, metres from the wall"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(15)],
    )
    depth_profile = models.JSONField(default=list, blank=True)  # [[x_m from the start wall, m], …]
    depth_measured_by = models.CharField(_("measured by"), max_length=120, blank=True)
    depth_measured_on = models.DateField(_("measured on"), null=True, blank=True)
    depth_measured_how = models.CharField(_("measured where and how"), max_length=400, blank=True)
    has_blocks = models.BooleanField(_("starting blocks"), null=True, blank=True)
    block_height_m = models.FloatField(
        _("height of the blocks above the water, metres"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(3)],
    )
    edge_height_m = models.FloatField(
        _("height of the edge above the water, metres"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(3)],
    )
    has_window = models.BooleanField(_("underwater window"), null=True, blank=True)
    window = models.CharField(_("where the window is"), max_length=400, blank=True)
    # what is there
    power = models.TextField(_("mains power"), max_length=2000, blank=True)
    network = models.TextField(_("network"), max_length=2000, blank=True)
    lifeguard = models.CharField(_("lifeguard"), max_length=120, blank=True)
    notes = models.TextField(_("else"), max_length=4000, blank=True)
    changed_at = models.DateTimeField(null=True)
    changed_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(permission="given") | ~models.Q(permission_by=""),
                name="venue_permission_says_by_whom",
            )
        ]

    def __str__(self) -> str:
        return f"{self.clinic}: {self.operator or self.clinic.venue}"
