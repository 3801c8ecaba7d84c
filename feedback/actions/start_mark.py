"""From which instant a swim is counted: the start signal as found, or as a coach marked it.

The choice is kept in clinics (`ChosenStart`), anchored to the frame; a later fit of the clocks
follows it and does not undo it. A mark placed elsewhere, or taken away, changes nothing of it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.actions.align_save import marked_start
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.compute.time import TICKS_PER_S, iso_utc, seconds_between
from clinics.models import ChosenStart, Clinic, ClockFit, Swim
from feedback.actions.measured import interval_ticks_at
from feedback.models import Mark
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User

MOST_MOVED_S = 5.0  # further away it is the start of somebody else, or none


@transaction.atomic
def count_from_mark(*, mark: Mark, by: User) -> Swim:
    """The swim's zero becomes half a frame before this mark of a start signal. BadInput where
    that cannot be."""
    swim = _locked(mark.swim)
    interval = mark.interval_ticks or interval_ticks_at(mark.recording, mark.pts_ticks)
    fit = ClockFit.objects.filter(recording=mark.recording_id).first()
    if mark.kind != Mark.Kind.START_SIGNAL:
        raise BadInput([("", _("Only a mark of the start signal can be what times count from."))])
    if interval is None or fit is None or fit.zero_at is None or fit.u_ms is None:
        raise BadInput([("", _("The clock of this view is not known: no time can count from it."))])
    row = ChosenStart.objects.filter(swim=swim).first()
    if row is None:
        found = {"found_at": swim.start_at, "found_kind": swim.start_kind}
        row = ChosenStart(swim=swim, found_u_ms=swim.start_u_ms, **found)
    row.recording, row.chosen_by = mark.recording, by
    row.ticks = mark.pts_ticks - interval // 2
    row.frame_u_ms = 1000.0 * interval / TICKS_PER_S / math.sqrt(12)  # rectangular, one interval
    start_at, kind, u_ms = marked_start(row, fit.zero_at, fit.rate_ppm, fit.u_ms)
    moved_s = seconds_between(row.found_at, start_at)
    if abs(moved_s) > MOST_MOVED_S:
        told = _(
            "This mark is %(seconds)s s from the start as found. Is it the start of this swim? "
            "At most %(most)s s are taken.",
            seconds=f"{moved_s:.1f}",
            most=f"{MOST_MOVED_S:g}",
        )
        raise BadInput([("", told)])
    row.save()
    _start(swim, start_at, kind, u_ms, "start-marked", by)
    return swim


@transaction.atomic
def count_from_found(*, swim: Swim, by: User) -> Swim:
    """Back to the start as heard, seen or tapped, as the last fit has it. Done twice it changes
    nothing more."""
    swim = _locked(swim)
    row = ChosenStart.objects.filter(swim=swim).first()
    if row is not None:
        row.delete()
        _start(swim, row.found_at, row.found_kind, row.found_u_ms, "start-as-found", by)
    return swim


def _locked(swim: Swim) -> Swim:
    """Under the clinic's lock, as a fit of its clocks writes."""
    clinic = Clinic.objects.select_for_update().get(pk=swim.entry.clinic_id)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its starts stay as they are."))])
    return Swim.objects.select_related("entry__clinic__club").get(pk=swim.pk)


def _start(swim: Swim, at: object, kind: str, u_ms: float, action: str, by: User) -> None:
    before = {"from": iso_utc(swim.start_at), "kind": swim.start_kind}
    swim.start_at, swim.start_kind, swim.start_u_ms = at, kind, u_ms  # type: ignore[assignment]
    swim.save(update_fields=["start_at", "start_kind", "start_u_ms"])
    record(
        action=action,
        by=by,
        subject=swim,
        club=swim.entry.clinic.club,
        detail={**before, "to": iso_utc(swim.start_at)},
    )
