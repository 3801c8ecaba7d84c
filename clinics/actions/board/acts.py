"""What all acts on the board have in common: who may, on what, and that it is written down."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.exceptions import PermissionDenied
from django.utils.translation import gettext as _

from clinics.actions.board.state import State, read
from clinics.actions.check_rows import CheckRefused
from clinics.models import BoardAct, Clinic, Clip, Swim
from portal.actions.audit import record

if TYPE_CHECKING:
    import uuid

    from django.db.models import Model

    from portal.models import User


def lock_clinic(clinic_id: uuid.UUID, by: User) -> Clinic:
    """The clinic's row, locked: one act at a time, and none while its cuts are planned, which
    would move a clip that a person is just placing."""
    rows = Clinic.objects.select_for_update(of=("self",)).select_related("club")
    clinic = rows.filter(pk=clinic_id).first()
    if clinic is None or not Clinic.objects.checked_by(by).filter(pk=clinic_id).exists():
        raise PermissionDenied("only a checker of the clinic may do this")
    if clinic.state == Clinic.State.CLOSED:
        raise CheckRefused(_("This clinic is closed; its swims and clips stay as they are."))
    return clinic


def lock_swim(swim: Swim, by: User) -> tuple[Clinic, Swim]:
    """Clinic and swim, locked. `swim` is as the caller saw it: if somebody else said meanwhile
    whose it is, or took it away, that is said instead of acting on what is no longer so."""
    clinic = lock_clinic(swim.entry.clinic_id, by)
    return clinic, fresh_swim(swim, by)


def fresh_swim(swim: Swim, by: User) -> Swim:
    row = (
        Swim.objects.handled_by(by)
        .filter(pk=swim.pk)
        .select_related("entry__clinic__club", "entry__swimmer")
        .first()
    )
    if row is None:
        if Swim.objects.filter(pk=swim.pk).exists():
            raise PermissionDenied("only a checker who sees the swim may do this")
        raise CheckRefused(_("This swim is no longer on the board: somebody took it away."))
    if row.entry_id != swim.entry_id:
        told = _("Somebody said meanwhile that this swim is %(name)s's. Look at it again.")
        raise CheckRefused(told % {"name": row.entry.swimmer.name})
    return row


def lock_clip(clip: Clip, by: User) -> tuple[Clinic, Clip]:
    """Clinic and clip, locked; refused if it was moved since the caller saw it."""
    clinic = lock_clinic(clip.swim.entry.clinic_id, by)
    rows = Clip.objects.handled_by(by).filter(pk=clip.pk)
    row = rows.select_related("swim__entry__swimmer", "recording__station", "station").first()
    if row is None:
        if Clip.objects.filter(pk=clip.pk).exists():
            raise PermissionDenied("only a checker who sees the clip may do this")
        raise CheckRefused(_("This clip is no longer on the board: somebody took it away."))
    seen = (clip.recording_id, clip.first_frame, clip.frame_count)
    if seen != (row.recording_id, row.first_frame, row.frame_count):
        raise CheckRefused(
            _("This clip was moved meanwhile, by somebody else or by a better clock. Look again.")
        )
    return clinic, row


def note(
    kind: BoardAct.Kind,
    *,
    clinic: Clinic,
    subject: Model,
    before: State,
    facts: dict[str, Any],
    by: User,
) -> BoardAct:
    """Write the act down, with the rows as they are after it, and in the audit trail."""
    act = BoardAct.objects.create(
        clinic=clinic, kind=kind, by=by, facts=facts, before=before, after=read(before)
    )
    record(
        action=f"board.{kind.value}",
        by=by,
        subject=subject,
        club=clinic.club,
        detail={"act": str(act.pk), **facts},
    )
    return act
