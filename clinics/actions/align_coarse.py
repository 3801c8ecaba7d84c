"""Coarse places for recordings that neither starts nor ties place: by their whole sound, by what
was seen passing, by their file's date. Each says how far off it may be, and asks for a look."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from clinics.actions.align_inputs import (
    SOUND_TRACK_HZ,
    Inputs,
    expected_passings,
    sound_travel_s,
)
from clinics.actions.index import motion_of
from clinics.actions.soundtracks import samples_of
from clinics.compute import clockfit
from clinics.compute.correlate import shift_between
from clinics.compute.motion import passes_seen
from clinics.compute.passing import Passing, place_by_passing
from clinics.compute.time import ticks_to_media_s
from clinics.models import Clinic, Recording

MOST_PAIRS = 2  # recordings that one is compared with by its whole sound


def sound_matches(clinic: Clinic, inputs: Inputs, fit: clockfit.ClinicFit) -> list[clockfit.TieIn]:
    """The same moment in two soundtracks, for recordings with sound that are not placed."""
    placed = [row for row in inputs.rows if _zero_s(fit, row) is not None and row.has_sound]
    found = []
    for row in inputs.rows:
        own = samples_of(row)
        if own is None or _zero_s(fit, row) is not None or row.slow_motion != 1:
            continue
        if fit.recordings[str(row.pk)].candidates:
            continue  # two places, or slow motion: a person is asked
        for other in placed[:MOST_PAIRS]:
            theirs = samples_of(other)
            if theirs is None or other.slow_motion != 1 or other.camera_id == row.camera_id:
                continue
            shift = shift_between(own, theirs, SOUND_TRACK_HZ)
            if shift is None:
                continue
            found.append(
                clockfit.TieIn(
                    key=f"{row.pk} sounds like {other.pk}",
                    recording=str(row.pk),
                    kind=clockfit.SAME_MOMENT,
                    media_s=shift.at_s,
                    half_frame_s=0.0,
                    u_s=shift.u_s,
                    travel_s=_nearer_s(clinic, row, other),
                    other=str(other.pk),
                    other_media_s=shift.at_s + shift.shift_s,
                    found_by=clockfit.CORRELATION,
                )
            )
            break
    return found


def _nearer_s(clinic: Clinic, row: Recording, other: Recording) -> float:
    """How much later a sound of the starter's reaches the one than the other; what sounds from
    elsewhere is covered by the tie's uncertainty."""
    return sound_travel_s(clinic, row.station) - sound_travel_s(clinic, other.station)


def _zero_s(fit: clockfit.ClinicFit, row: Recording) -> float | None:
    return fit.recordings[str(row.pk)].zero_s


# --- what was seen passing, and file dates -----------------------------------------------------


def coarse_fits(
    clinic: Clinic, inputs: Inputs, fit: clockfit.ClinicFit
) -> dict[str, clockfit.RecordingFit]:
    """For each recording without a place or candidates: the better of motion and file date."""
    coarse = {}
    for row, recording in zip(inputs.rows, inputs.recordings, strict=True):
        known = fit.recordings[recording.key]
        if known.zero_s is not None or known.candidates or _has_ties(inputs, recording.key):
            continue
        dated = _by_date(inputs, fit, recording)
        seen = _by_passing(clinic, inputs, fit, row, recording)
        if seen is not None:
            coarse[recording.key] = seen
        elif dated.zero_s is not None or recording.began_s is not None:
            coarse[recording.key] = dated
        elif not row.has_sound:
            coarse[recording.key] = replace(known, reason=SILENT)
    return coarse


SILENT = (
    "It has no sound, and what moves in it does not say where it lies. Place a tie, or film the "
    "slate with this camera the next time."
)


def _has_ties(inputs: Inputs, key: str) -> bool:
    return any(key in (tie.recording, tie.other) for tie in inputs.ties)


def _by_date(
    inputs: Inputs, fit: clockfit.ClinicFit, recording: clockfit.RecordingIn
) -> clockfit.RecordingFit:
    siblings = [
        (other.began_s, fitted.zero_s)
        for other in inputs.recordings
        if other.camera == recording.camera
        and other.began_s is not None
        and (fitted := fit.recordings[other.key]).zero_s is not None
    ]
    starts = [swim.start_s for swim in fit.swims.values()]
    dated = clockfit.fit_by_file_date(recording, recording.began_s, starts, siblings)
    said = fit.recordings[recording.key]
    if dated.zero_s is None and said.false_match_p is None and said.reason != "No tie.":
        return replace(dated, reason=said.reason)  # the sound's own reason says more
    return dated


def _by_passing(
    clinic: Clinic,
    inputs: Inputs,
    fit: clockfit.ClinicFit,
    row: Recording,
    recording: clockfit.RecordingIn,
) -> clockfit.RecordingFit | None:
    profile = motion_of(row)
    if profile is None or not inputs.swims:
        return None
    at_s = profile.ticks.astype(np.float64) * ticks_to_media_s(1) / row.slow_motion
    seen = [one.middle_s for one in passes_seen(at_s, profile.energy)]
    expected = expected_passings(clinic, row.station, inputs.swims, fit.swims)
    place = place_by_passing(seen, expected, duration_s=recording.duration_s / row.slow_motion)
    return None if place is None else _passing_fit(recording, place)


def _passing_fit(recording: clockfit.RecordingIn, place: Passing) -> clockfit.RecordingFit:
    if place.rivals:
        both = (place, *place.rivals)
        return replace(
            clockfit.not_found(
                recording.key,
                f"What passes in it fits at {len(both)} places of the start log. Place a tie to "
                "say which.",
            ),
            false_match_p=place.false_match_p,
            candidates=tuple(clockfit.Candidate(one.zero_s, one.matched, one.of) for one in both),
        )
    u_ms = 1000 * place.u_s
    return replace(
        clockfit.not_found(
            recording.key,
            f"By {place.matched} swimmers seen passing, within ± {place.u_s:.1f} s. Place a tie.",
        ),
        zero_s=place.zero_s,
        rate_ppm=(1 / recording.slow_motion - 1) * 1e6,
        u_ms=u_ms,
        u_begin_ms=u_ms,
        u_mid_ms=u_ms,
        u_end_ms=u_ms,
        state=clockfit.LOOK,
        method=clockfit.PASSING,
        false_match_p=place.false_match_p,
    )
