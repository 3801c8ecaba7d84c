"""The phases of a swim, as the trade names them."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Phase(models.TextChoices):
    START = "start", _("start")
    FLIGHT = "flight", _("flight")
    ENTRY = "entry", _("entry")
    UNDERWATER = "underwater", _("underwater")
    BREAKOUT = "breakout", _("breakout")
    SWIMMING = "swimming", _("swimming")
    TURN = "turn", _("turn")
    PUSH_OFF = "push-off", _("push-off")
