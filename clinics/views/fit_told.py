"""A recording's clock, and the clinic's, in words and tables."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.fit_figures import FitFigures
from clinics.models import Clinic, ClinicClock, Recording
from clinics.views import fit_words
from clinics.views.recording_frames import clock_words
from clinics.views.recording_strip import tie_words


@dataclass(frozen=True)
class Told:
    """One recording in words and figures."""

    recording: Recording
    fit: Any
    name: str
    sentence: str
    figures: Sequence[fit_words.Figure]
    coverage: str
    begin: str
    mid: str
    end: str
    rate: str
    method: str
    kinds: str
    evidence: str


def name_of(row: Recording) -> str:
    """ "Start side, Camera 1, take 2": which recording it is."""
    told = _("%(station)s, %(camera)s, take %(n)s")
    return told % {"station": row.station.name, "camera": row.camera.name, "n": row.order}


def told_of(one: FitFigures) -> Told:
    fit = one.fit
    placed = fit is not None and fit.zero_at is not None
    sentence = fit_words.clock_sentence(
        fit,
        frame_ms=one.frame_ms,
        starts=len(one.starts_tied),
        starts_of=len(one.starts_in),
        heard=one.all_heard,
    )
    u_ms: list[float | None] = [None, None, None]
    if placed and fit is not None:
        told = (fit.u_begin_ms, fit.u_mid_ms, fit.u_end_ms)
        u_ms = [fit.u_ms if u is None else u for u in told]
    return Told(
        recording=one.recording,
        fit=fit,
        name=name_of(one.recording),
        sentence=sentence,
        figures=fit_words.figure_lines(one),
        coverage=_coverage(one),
        begin=fit_words.pm(u_ms[0]) if placed else "",
        mid=fit_words.pm(u_ms[1]) if placed else "",
        end=fit_words.pm(u_ms[2]) if placed else "",
        rate=_rate(one) if placed else "",
        method=fit_words.method_words(fit.method) if fit is not None else "",
        kinds=fit_words.kinds_words(one),
        evidence=fit_words.chance(fit.false_match_p) if fit is not None else "",
    )


def _rate(one: FitFigures) -> str:
    """Of the camera's own clock; what it stretched to slow motion is said beside it."""
    assert one.fit is not None
    rate = fit_words.ppm(one.fit.camera_ppm)
    factor = one.recording.slow_motion
    if factor == 1:
        return rate
    return _("%(rate)s, slow motion %(n)s times") % {"rate": rate, "n": fit_words.plain(factor)}


def _coverage(one: FitFigures) -> str:
    """When it ran on the day, and how many starts of the log fall into it."""
    if one.begins_at is None or one.ends_at is None:
        return ""
    zone = one.recording.station.clinic.zone
    told = ngettext(
        "%(begin)s to %(end)s, %(n)s start of the log",
        "%(begin)s to %(end)s, %(n)s starts of the log",
        len(one.starts_in),
    )
    return told % {
        "begin": f"{one.begins_at.astimezone(zone):%H:%M:%S}",
        "end": f"{one.ends_at.astimezone(zone):%H:%M:%S}",
        "n": len(one.starts_in),
    }


@dataclass(frozen=True)
class TieLine:
    """A row of the plot's twin."""

    recording: str
    at: str
    kind: str
    found_by: str
    residual: str
    u: str
    aside: str


def tie_lines(figures: Sequence[FitFigures]) -> list[TieLine]:
    return [
        TieLine(
            recording=name_of(figure.recording),
            at=clock_words(one.media_s),
            kind=tie_words(one.tie),
            found_by=str(one.tie.get_found_by_display()),
            residual=fit_words.ms(one.residual_ms),
            u=fit_words.pm(one.tie.u_ms),
            aside=one.tie.set_aside,
        )
        for figure in figures
        for one in figure.ties
    ]


def as_a_whole(clinic: Clinic) -> list[str]:
    """What the fit found out about the clinic as a whole, in sentences."""
    told = ClinicClock.objects.filter(clinic=clinic).first()
    if told is None:
        return [_("The clocks of this clinic are not fitted yet.")]
    return [*_signal(told.signal, clinic), _lateness(told), *map(str, told.notes)]


def _signal(signal: dict[str, Any], clinic: Clinic) -> list[str]:
    hz, length_s = signal.get("hz"), signal.get("length_s")
    if not hz or not length_s:
        return [_("No start signal was learned: no recording hears one clearly.")]
    words = _("The start signal of this clinic is at %(hz)s Hz and lasts %(length)s s.") % {
        "hz": fit_words.number(hz, 0),
        "length": fit_words.number(length_s, 2),
    }
    learned = Recording.objects.filter(
        pk=signal.get("learned_from") or uuid.uuid4(), station__clinic=clinic
    ).select_related("station", "camera")
    if row := learned.first():
        words += " " + _("It was learned from %(recording)s.") % {"recording": name_of(row)}
    return [words]


def _lateness(told: ClinicClock) -> str:
    if told.taps_late_ms is None:
        return _(
            "How late the taps of the start log are as a whole is not known: only a slate that was "
            "filmed at this clinic can tell. All cameras agree without it."
        )
    late = _("The taps of the start log are late by %(late)s (%(u)s).")
    return late % {
        "late": fit_words.ms(told.taps_late_ms).lstrip("+"),
        "u": fit_words.pm(told.taps_late_u_ms),
    }
