"""A clinic as planned: pool, stations, cameras, people, running order."""

from __future__ import annotations

import uuid
import zoneinfo
from typing import TYPE_CHECKING

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics import privacy_plans as privacy

if TYPE_CHECKING:
    from portal.models import User


class ClinicQuerySet(models.QuerySet["Clinic"]):
    def visible_to(self, user: User) -> ClinicQuerySet:
        """Clinics whose plan the user may see: who works for the club now, and the team."""
        return privacy.clinics_seen_by(self, user)  # type: ignore[return-value]

    def run_by(self, user: User) -> ClinicQuerySet:
        """Clinics that the user may change as admin of their club."""
        return privacy.clinics_run_by(self, user)  # type: ignore[return-value]

    def worked_by(self, user: User) -> ClinicQuerySet:
        """Clinics at which the user may log starts and bring in recordings."""
        return privacy.clinics_worked_by(self, user)  # type: ignore[return-value]

    def checked_by(self, user: User) -> ClinicQuerySet:
        """Clinics of which the user is a checker."""
        return privacy.clinics_checked_by(self, user)  # type: ignore[return-value]

    def coached_by(self, user: User) -> ClinicQuerySet:
        """Clinics whose coaches the user is one of."""
        return privacy.clinics_coached_by(self, user)  # type: ignore[return-value]


class Clinic(models.Model):
    """One occasion at one pool."""

    class State(models.TextChoices):
        PLANNED = "planned", _("planned")
        OPEN = "open", _("open")
        CLOSED = "closed", _("closed")

    class Give(models.TextChoices):
        AT_ONCE = "at_once", _("as soon as the swim is passed")
        WITH_FEEDBACK = "with_feedback", _("together with the coach's feedback")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey("portal.Club", models.PROTECT, related_name="clinics")
    slug = models.SlugField(_("short name"), unique=True)
    name = models.CharField(_("name"), max_length=120)
    venue = models.CharField(_("venue"), max_length=120)
    date = models.DateField(_("date"))
    time_zone = models.CharField(_("time zone"), max_length=64)
    course_m = models.FloatField(
        _("course length"), validators=[MinValueValidator(5), MaxValueValidator(200)]
    )
    distance_m = models.FloatField(
        _("distance per go"), validators=[MinValueValidator(5), MaxValueValidator(1500)]
    )
    air_temperature_c = models.FloatField(
        _("air temperature"), validators=[MinValueValidator(-20), MaxValueValidator(50)]
    )
    starter_x_m = models.FloatField(default=0.0)
    starter_y_m = models.FloatField(default=1.0)
    give = models.CharField(max_length=16, choices=Give, default=Give.WITH_FEEDBACK)
    sound_for_swimmers = models.BooleanField(default=False)
    # what the club agreed with the lifeguard for whoever films under water; null: nothing yet
    most_dives_each = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(10_000)]
    )
    state = models.CharField(max_length=8, choices=State, default=State.PLANNED)
    checked_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    objects = ClinicQuerySet.as_manager()

    class Meta:
        ordering = ["-date", "name"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(course_m__gte=5) & models.Q(course_m__lte=200),
                name="clinic_course_5_to_200_m",
            ),
            models.CheckConstraint(
                condition=models.Q(distance_m__gt=0), name="clinic_distance_positive"
            ),
            models.CheckConstraint(
                condition=~models.Q(state="closed") | models.Q(closed_at__isnull=False),
                name="clinic_closed_says_when",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)


class Duty(models.Model):
    """What somebody of the team does at one clinic. The checker stands in the consent text."""

    class Kind(models.TextChoices):
        CHECKER = "checker", _("checker")
        STARTER = "starter", _("starter")
        LOGGER = "logger", _("logger")
        MARSHAL = "marshal", _("marshal")
        CAMERA = "camera", _("camera")
        OPERATOR = "operator", _("underwater operator")
        WATCHER = "watcher", _("watcher of the underwater operator")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey(Clinic, models.CASCADE, related_name="duties")
    user = models.ForeignKey("portal.User", models.CASCADE, related_name="duties")
    kind = models.CharField(max_length=8, choices=Kind)
    # of a station: camera, operator and watcher; a camera without one: at any
    station = models.ForeignKey(
        "clinics.Station", models.CASCADE, null=True, blank=True, related_name="duties"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["clinic", "user", "kind"],
                condition=models.Q(station__isnull=True),
                name="duty_once",
            ),
            models.UniqueConstraint(
                fields=["clinic", "user", "kind", "station"], name="duty_once_at_a_station"
            ),
        ]


class Station(models.Model):
    """One camera position: x along the course from the start wall, y across from the edge of
    the swum lane's side (positive: over the water), z above the water. All in metres."""

    class Kind(models.TextChoices):
        START_SIDE = "start-side", _("start side")
        UNDERWATER = "underwater", _("underwater")
        TURN_WINDOW = "turn-window", _("turn window")
        DECK = "deck", _("deck")

    class Port(models.TextChoices):
        AIR = "air", _("no water between")
        FLAT = "flat", _("flat port or window")
        DOME = "dome", _("dome port")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey(Clinic, models.CASCADE, related_name="stations")
    slug = models.SlugField()
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=Kind)
    order = models.PositiveSmallIntegerField()
    x_m = models.FloatField()
    y_m = models.FloatField()
    z_m = models.FloatField(default=1.5)
    hears_start = models.BooleanField(default=True)
    # [{"pass": 1, "from_s": -3.0, "to_s": 8.0}, …] in swim_s; empty: from pace and course
    windows = models.JSONField(default=list, blank=True)
    # the camera as planned; null or empty: nobody has said, and the usual is taken
    angle_deg = models.FloatField(  # horizontal, in air
        null=True, blank=True, validators=[MinValueValidator(2), MaxValueValidator(160)]
    )
    port = models.CharField(max_length=4, choices=Port, blank=True)
    bearing_deg = models.FloatField(  # on the plan: 0 along the course, 90 into the pool
        null=True, blank=True, validators=[MinValueValidator(-360), MaxValueValidator(360)]
    )
    fixed_mount = models.BooleanField(default=True)
    bit_rate = models.CharField(max_length=12, blank=True)  # a key of station_needs.BIT_RATES
    card_gb = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.1)])
    battery_min = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1)])

    class Meta:
        ordering = ["order", "slug"]
        # Order is not unique: six stations could then not change places within 1 to 6.
        constraints = [
            models.UniqueConstraint(fields=["clinic", "slug"], name="station_slug_once"),
            models.CheckConstraint(
                condition=models.Q(order__gte=1) & models.Q(order__lte=6),
                name="station_one_to_six",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Camera(models.Model):
    """One device at a station. Its recordings share its clock's rate, and only that."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    station = models.ForeignKey(Station, models.CASCADE, related_name="cameras")
    name = models.CharField(max_length=80)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["station", "name"], name="camera_name_once")]

    def __str__(self) -> str:
        return self.name


class LaneGroup(models.Model):
    """Swimmers who rotate together, as their training lane sends them."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey(Clinic, models.CASCADE, related_name="lane_groups")
    name = models.CharField(max_length=40)
    order = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["clinic", "name"], name="lane_group_name_once")
        ]

    def __str__(self) -> str:
        return self.name


class SwimmerQuerySet(models.QuerySet["Swimmer"]):
    def managed_by(self, user: User) -> SwimmerQuerySet:
        """Swimmers of the clubs that the user administers."""
        return privacy.swimmers_managed_by(self, user)  # type: ignore[return-value]


class Swimmer(models.Model):
    """An adult in a club's clinics; a person in footage, not a member.

    The e-mail address is optional and need not be unique: couples share one.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey("portal.Club", models.PROTECT, related_name="swimmers")
    user = models.ForeignKey(
        "portal.User", models.SET_NULL, null=True, blank=True, related_name="swimmers"
    )
    name = models.CharField(_("name"), max_length=120)
    email = models.EmailField(_("e-mail"), blank=True)
    adult_attested_at = models.DateTimeField(null=True)  # 18 or older, said so then
    created_at = models.DateTimeField(default=timezone.now)

    objects = SwimmerQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["club", "name"]),
            models.Index(fields=["email"]),
        ]

    def __str__(self) -> str:
        return self.name


class Entry(models.Model):
    """A swimmer in a clinic. A no-show stays an entry."""

    class Stroke(models.TextChoices):
        FREESTYLE = "freestyle", _("freestyle")
        BACKSTROKE = "backstroke", _("backstroke")
        BREASTSTROKE = "breaststroke", _("breaststroke")
        BUTTERFLY = "butterfly", _("butterfly")
        MEDLEY = "medley", _("medley")

    class Start(models.TextChoices):
        BLOCK = "block", _("from the block")
        EDGE = "edge", _("from the edge")
        WATER = "water", _("in the water")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey(Clinic, models.CASCADE, related_name="entries")
    swimmer = models.ForeignKey(Swimmer, models.PROTECT, related_name="entries")
    number = models.PositiveIntegerField(_("number"))
    lane_group = models.ForeignKey(LaneGroup, models.PROTECT, related_name="entries")
    order = models.PositiveIntegerField(_("order"))
    stroke = models.CharField(max_length=12, choices=Stroke)
    pace_s_per_100m = models.FloatField(_("expected pace, seconds per 100 m"))
    start = models.CharField(max_length=6, choices=Start, default=Start.BLOCK)

    class Meta:
        ordering = ["order"]
        verbose_name_plural = "entries"
        constraints = [
            models.UniqueConstraint(fields=["clinic", "number"], name="entry_number_once"),
            models.UniqueConstraint(fields=["clinic", "swimmer"], name="entry_swimmer_once"),
            models.CheckConstraint(
                condition=models.Q(pace_s_per_100m__gte=40) & models.Q(pace_s_per_100m__lte=600),
                name="entry_pace_40_to_600",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.swimmer}"
