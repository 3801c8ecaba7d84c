"""What a fit found, written into the rows. Only what changed is touched."""

from __future__ import annotations

import datetime as dt
import math
import uuid
from typing import TYPE_CHECKING, Any

from django.utils import timezone

from clinics.compute.time import (
    clinic_instant,
    from_epoch_s,
    iso_utc,
    media_s_to_ticks,
    ticks_to_media_s,
)
from clinics.models import (
    ChosenStart,
    Clinic,
    ClinicClock,
    ClockFit,
    HeardStart,
    Recording,
    Swim,
    Tie,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from clinics.compute import clockfit
    from clinics.compute.oneclock import OneClock
    from clinics.compute.starts.swims import Heard

Start = tuple[dt.datetime, str, float]  # start_at, start_kind, start_u_ms
START_KINDS = {
    "heard": Swim.StartKind.HEARD,
    "seen": Swim.StartKind.MARK,
    "tap": Swim.StartKind.TAP,
}
SAME_START_S = 0.5  # a heard start that moved by less is the same
FOUND_ALONE = (Tie.FoundBy.SOUND, Tie.FoundBy.MOTION, Tie.FoundBy.CORRELATION)


def save_swims(swims: Sequence[Swim], found: clockfit.ClinicFit, reference: dt.datetime) -> bool:
    """What somebody chose to count from stays; what the fit found is then kept beside it."""
    changed = False
    chosen = {row.swim_id: row for row in ChosenStart.objects.filter(swim__in=swims)}
    for swim in swims:
        values = _found_start(swim, found, reference)
        if (row := chosen.get(swim.pk)) is not None:
            if values is not None:
                row.found_at, row.found_kind, row.found_u_ms = values
                row.save(update_fields=["found_at", "found_kind", "found_u_ms"])
            values = _chosen_start(row, found, reference)
        if values is None:
            continue
        if values != (swim.start_at, swim.start_kind, swim.start_u_ms):
            swim.start_at, swim.start_kind, swim.start_u_ms = values
            swim.save(update_fields=["start_at", "start_kind", "start_u_ms"])
            changed = True
    return changed


def _found_start(swim: Swim, found: clockfit.ClinicFit, reference: dt.datetime) -> Start | None:
    """None: it is in no log, and stays where it was put."""
    if swim.log_entry is None:
        return None
    start = found.swims[str(swim.pk)]
    at = from_epoch_s(start.start_s, reference)
    return at, START_KINDS[start.by], round(start.u_s * 1000, 1)


def _chosen_start(
    row: ChosenStart, found: clockfit.ClinicFit, reference: dt.datetime
) -> Start | None:
    """On the clock of its recording as it is fitted now; None: the recording or its clock is no
    longer known, and the start stays where it is."""
    fitted = found.recordings.get(str(row.recording_id))
    if fitted is None or fitted.zero_s is None or fitted.u_ms is None:
        return None
    return marked_start(
        row, from_epoch_s(fitted.zero_s, reference), round(fitted.rate_ppm, 3), fitted.u_ms
    )


def marked_start(
    row: ChosenStart, zero_at: dt.datetime, rate_ppm: float, clock_u_ms: float
) -> Start:
    at = clinic_instant(zero_at, rate_ppm, ticks_to_media_s(row.ticks))
    return at, Swim.StartKind.MARK, round(math.hypot(row.frame_u_ms, clock_u_ms), 1)


def save_fit(
    row: Recording, fitted: clockfit.RecordingFit, reference: dt.datetime
) -> tuple[ClockFit, bool]:
    values = {
        "zero_at": None if fitted.zero_s is None else from_epoch_s(fitted.zero_s, reference),
        "rate_ppm": round(fitted.rate_ppm, 3),
        "u_ms": _rounded(fitted.u_ms),
        "u_begin_ms": _rounded(fitted.u_begin_ms),
        "u_mid_ms": _rounded(fitted.u_mid_ms),
        "u_end_ms": _rounded(fitted.u_end_ms),
        "false_match_p": fitted.false_match_p,
        "candidates": [_candidate(one, reference) for one in fitted.candidates],
        "state": fitted.state,
        "method": fitted.method,
        "tie_count": fitted.ties,
        "reason": fitted.reason[:300],
    }
    known = ClockFit.objects.filter(recording=row).first()
    if known is not None and all(getattr(known, name) == value for name, value in values.items()):
        return known, False
    values["fitted_at"] = timezone.now()
    clock_fit, _new = ClockFit.objects.update_or_create(recording=row, defaults=values)
    return clock_fit, True


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _candidate(one: clockfit.Candidate, reference: dt.datetime) -> dict[str, Any]:
    if one.slow_motion is not None:
        return {"slow_motion": one.slow_motion}
    assert one.zero_s is not None
    return {
        "zero_at": iso_utc(from_epoch_s(one.zero_s, reference)),
        "matched": one.matched,
        "of": one.of,
    }


def replace_found_ties(
    rows: Sequence[Recording], ties: Sequence[clockfit.TieIn], swims: Iterable[Swim]
) -> None:
    """The ties that no person placed and no slate gave, as this fit found them. Starts that are no
    swim (heard only, or called back) go into the fit and need no row."""
    mine = {str(row.pk): row for row in rows}
    swim_pks = {str(swim.pk) for swim in swims}
    Tie.objects.filter(recording__in=rows, found_by__in=FOUND_ALONE).delete()
    Tie.objects.bulk_create(
        Tie(
            recording=mine[tie.recording],
            kind=tie.kind,
            found_by=tie.found_by,
            pts_ticks=media_s_to_ticks(tie.media_s),
            swim_id=uuid.UUID(tie.swim) if tie.swim else None,
            other_recording=mine[tie.other] if tie.other else None,
            other_ticks=media_s_to_ticks(tie.other_media_s) if tie.other else None,
            u_ms=round(1000 * tie.u_s, 3),
            score=None if tie.score is None else round(tie.score, 3),
        )
        for tie in ties
        if tie.swim in swim_pks or tie.other
    )


def save_residuals(rows: Sequence[Recording], found: clockfit.ClinicFit, fresh: bool) -> None:
    """`fresh`: the ties of sound were just made anew, and are known by recording and swim."""
    by_pair = {}
    if fresh:
        by_pair = {key: value for key, value in found.ties.items() if " hears " in key}
    for tie in Tie.objects.filter(recording__in=rows):
        told = found.ties.get(str(tie.pk)) or by_pair.get(f"{tie.recording_id} hears {tie.swim_id}")
        if told is None:
            continue
        residual_ms = None if told.residual_ms is None else round(told.residual_ms, 3)
        set_aside = told.set_aside[:200]
        if (tie.residual_ms, tie.set_aside) != (residual_ms, set_aside):
            tie.residual_ms, tie.set_aside = residual_ms, set_aside
            tie.save(update_fields=["residual_ms", "set_aside"])


def save_clinic_clock(clinic: Clinic, found: clockfit.ClinicFit, heard: OneClock | None) -> None:
    values: dict[str, Any] = {
        "taps_late_ms": _ms(found.lateness_s),
        "taps_late_u_ms": _ms(found.lateness_u_s),
        "fitted_at": timezone.now(),
    }
    if heard is not None:
        signal = heard.signal
        values["signal"] = (
            {}
            if signal is None
            else {
                "hz": round(signal.hz, 1),
                "length_s": round(signal.length_s, 3),
                "learned_from": signal.learned_from,
                "agreeing": signal.agreeing,
                "of": signal.of,
                "alike": round(signal.alike, 3),
                "logged": heard.logged,
                "blur_ms": {key: round(1000 * s, 3) for key, s in heard.blur_s.items()},
            }
        )
    ClinicClock.objects.update_or_create(clinic=clinic, defaults=values)


def _ms(seconds: float | None) -> float | None:
    return None if seconds is None else round(1000 * seconds, 1)


def save_heard_starts(clinic: Clinic, heard: Sequence[Heard], reference: dt.datetime) -> None:
    """Starts that no swim explains. What a person said of one stays with it while it is heard."""
    rows = list(HeardStart.objects.filter(clinic=clinic))
    left = list(rows)
    for one in heard:
        instant = from_epoch_s(one.instant_s, reference)
        near = [row for row in left if abs((row.instant - instant).total_seconds()) < SAME_START_S]
        row = min(near, key=lambda row: abs(row.instant - instant), default=None)
        if row is None:
            row = HeardStart(clinic=clinic)
        else:
            left.remove(row)
        row.instant, row.u_ms = instant, round(1000 * one.u_s, 2)
        row.heard_by, row.score = one.heard_by, round(min(one.score, 1.0), 3)
        row.save()
    untouched = [
        row.pk for row in left if row.state == HeardStart.State.PROPOSED and row.entry_id is None
    ]
    HeardStart.objects.filter(pk__in=untouched).delete()
