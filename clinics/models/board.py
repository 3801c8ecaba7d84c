"""What a checker did on the check board, so that it can be taken back."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class BoardAct(models.Model):
    """One act of a checker: what it was about, and the rows that it touched, before and after.

    `facts` hold ids and figures, never names: the sentence is said from them when it is shown.
    `before` and `after` are of clinics/actions/board/state.py; undoing puts `before` back, and
    is refused if the rows are no longer as in `after`.
    """

    class Kind(models.TextChoices):
        NUDGE = "nudge", _("clip moved by frames")
        ENDS = "ends", _("ends of a clip set")
        CUT = "cut", _("clip cut by hand")
        SWAP = "swap", _("two swimmers swapped")
        REASSIGN = "reassign", _("somebody else's swim")
        NO_SWIM = "no-swim", _("was no swim")
        ADD_SWIM = "add-swim", _("swim added")
        CONFIRM = "confirm", _("person confirmed")
        OTHERS = "others", _("nobody else can be recognised")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, related_name="board_acts")
    kind = models.CharField(max_length=10, choices=Kind)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    facts = models.JSONField(default=dict)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    undone_at = models.DateTimeField(null=True)
    undone_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["at"]
        indexes = [models.Index(fields=["clinic", "at"], name="board_act_clinic_at")]
