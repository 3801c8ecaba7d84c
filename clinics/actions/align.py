"""The fit of all clocks of a clinic: from what its recordings hear and from all ties.

Listening takes seconds for an hour of sound and holds no lock; what it found is then written in
one transaction. Whatever changes meanwhile asks to align again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.actions import align_save as saving
from clinics.actions.align_coarse import coarse_fits, sound_matches
from clinics.actions.align_inputs import Inputs, gather, soundtracks
from clinics.actions.index import order_looks
from clinics.compute import clockfit
from clinics.compute.oneclock import AlignStopped, OneClock, place_all
from clinics.models import Clinic, ClinicClock, ClockFit, HeardStart
from portal.actions.audit import record
from portal.actions.job_runs import JobStopped
from portal.actions.jobs import enqueue

if TYPE_CHECKING:
    from portal.models import Job, User

ALIGN_PRIORITY = 30
LISTENING = 0.8  # of the job's progress


def ask_to_align(*, clinic: Clinic, by: User | None = None) -> Job:
    """Ask for a job that fits the clocks, then plans the cuts."""
    return enqueue(kind="align", subject=clinic, asked_by=by, priority=ALIGN_PRIORITY)


def run_align(job: Job, pulse: Callable[..., None]) -> None:
    """The job of kind "align". Running twice changes nothing more."""
    from clinics.actions.cut import plan_cuts  # cutting follows aligning, and not the other way

    clinic = Clinic.objects.filter(pk__in=[job.subject_id]).first()
    if clinic is None or clinic.state == Clinic.State.CLOSED:
        return
    try:
        fits, _found = fit(
            clinic=clinic,
            by=job.asked_by,
            on_progress=lambda share: pulse(LISTENING * share),
            should_stop=getattr(pulse, "should_stop", None),
        )
    except AlignStopped as stop:
        raise JobStopped(getattr(pulse, "why", "") or "cancelled") from stop
    pulse(0.9)
    sure = [row.recording for row in fits.values() if row.state == ClockFit.State.SURE]
    unsure = [row.recording for row in fits.values() if row.state != ClockFit.State.SURE]
    order_looks(sure=sure, unsure=unsure, by=job.asked_by)
    plan_cuts(clinic=clinic, by=job.asked_by)


def fit_clocks(*, clinic: Clinic, by: User | None = None, listen: bool = True) -> list[ClockFit]:
    """Fit the clocks of all recordings that are read, and the starts that they are tied to.

    What people placed is not moved. A swim's start becomes the tied one where that is better
    known than the tap; the tap stays in the start log. `listen` False: with what the sound
    gave the last time, at once.
    """
    return list(fit(clinic=clinic, by=by, listen=listen)[0].values())


def fit(
    *,
    clinic: Clinic,
    by: User | None = None,
    listen: bool = True,
    on_progress: Callable[[float], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> tuple[dict[str, ClockFit], clockfit.ClinicFit]:
    """As `fit_clocks`; returns the rows by recording and the figures behind them."""
    inputs = gather(clinic, sound_ties=not listen)
    heard: OneClock | None = None
    if listen:
        heard = place_all(
            inputs.recordings,
            inputs.starts,
            inputs.ties,
            soundtracks(clinic, inputs.rows),
            on_progress=on_progress,
            should_stop=should_stop,
        )
        found, found_ties = heard.fit, list(heard.found_ties)
        if matches := sound_matches(clinic, inputs, found):
            found_ties += matches
            found = heard.again([*inputs.ties, *matches])
    else:
        found_ties = []
        found = clockfit.fit_clinic(
            inputs.recordings, inputs.starts, inputs.ties, evidence=_last_evidence(clinic, inputs)
        )
    found.recordings.update(coarse_fits(clinic, inputs, found))
    return _save(clinic, inputs, found, found_ties, heard, by), found


def _last_evidence(clinic: Clinic, inputs: Inputs) -> dict[str, clockfit.Evidence]:
    """What the sound said of each recording the last time."""
    clock = ClinicClock.objects.filter(clinic=clinic).first()
    signal = clock.signal if clock is not None else {}
    blur_ms = signal.get("blur_ms", {})
    fits = ClockFit.objects.filter(recording__in=inputs.rows)
    return {
        str(row.recording_id): clockfit.Evidence(
            p=row.false_match_p,
            logged=bool(signal.get("logged", True)),
            blur_s=float(blur_ms.get(str(row.recording_id), 2.0)) / 1000,
        )
        for row in fits
        if row.false_match_p is not None
    }


@transaction.atomic
def _save(
    clinic: Clinic,
    inputs: Inputs,
    found: clockfit.ClinicFit,
    found_ties: list[clockfit.TieIn],
    heard: OneClock | None,
    by: User | None,
) -> dict[str, ClockFit]:
    """One transaction, under the clinic's lock. Rows that went away meanwhile are left out."""
    clinic = Clinic.objects.select_for_update().select_related("club").get(pk=clinic.pk)
    still = gather(clinic, sound_ties=False)
    rows = [row for row in still.rows if str(row.pk) in found.recordings]
    swims = [swim for swim in still.swims if str(swim.pk) in found.swims]
    changed = saving.save_swims(swims, found, inputs.reference)
    if heard is not None:
        saving.replace_found_ties(rows, found_ties, swims)
        saving.save_heard_starts(clinic, heard.heard, inputs.reference)
    fits = {}
    for row in rows:
        fits[str(row.pk)], is_new = saving.save_fit(
            row, found.recordings[str(row.pk)], inputs.reference
        )
        changed |= is_new
    saving.save_residuals(rows, found, fresh=heard is not None)
    saving.save_clinic_clock(clinic, found, heard)
    if changed:
        states = [row.state for row in fits.values()]
        counts = {state: states.count(state) for state in ClockFit.State.values}
        counts["heard"] = HeardStart.objects.filter(clinic=clinic, state="proposed").count()
        record(action="clocks.fitted", by=by, subject=clinic, club=clinic.club, detail=counts)
    return fits
