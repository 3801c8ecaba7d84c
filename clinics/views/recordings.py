"""The page of one recording: what it is, how sure its clock is, and looking for a start in it."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from clinics.actions.dropped import pictures_open_to
from clinics.actions.fit_figures import FitFigures, figures_of
from clinics.actions.ties_by_hand import Place as ClockPlace
from clinics.actions.ties_by_hand import places_of
from clinics.models import Recording, Tie
from clinics.views import fit_words
from clinics.views.recording_frames import (
    RUN_FRAMES,
    Hidden,
    boxes_of,
    clock_words,
    handled_recording,
    table_of,
)
from clinics.views.recording_strip import lane_of, legend_of
from clinics.views.tie_forms import LookForm, TieForm, place_asked_for, swims_of
from portal.requests import SignedInRequest

USUAL_FACTORS = (2, 4, 8)


@require_safe
def recording(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    row = handled_recording(request, pk)
    ready = row.state == Recording.State.READY
    figures = figures_of(Recording.objects.filter(pk=row.pk), row.station.clinic)[0]
    context = {
        "recording": row,
        "clinic": row.station.clinic,
        "files": row.files.select_related("stored").order_by("order"),
        "swims": swims_of(row),
        "length": clock_words(row.duration_s) if row.duration_s else "",
        "stills": _stills(row),
        **_clock(figures),
        **(_looking(request, row, figures) if ready else {"form": TieForm(row)}),
    }
    return render(request, "clinics/recording.html", context)


@dataclass(frozen=True)
class ShownTie:
    """A tie, and how far it lies beside the fit, in words."""

    tie: Tie
    beside: str


def _clock(figures: FitFigures) -> dict[str, Any]:
    """How sure its clock is, in words, with the figures behind them."""
    fit = figures.fit
    ties = [ShownTie(one.tie, fit_words.ms(one.residual_ms)) for one in figures.ties]
    return {
        "fit": fit,
        "sentence": fit_words.clock_sentence(
            fit,
            frame_ms=figures.frame_ms,
            starts=len(figures.starts_tied),
            starts_of=len(figures.starts_in),
            heard=figures.all_heard,
        ),
        "figures": fit_words.figure_lines(figures),
        "by_hand": [one for one in ties if one.tie.found_by == Tie.FoundBy.PERSON],
        "by_itself": [one for one in ties if one.tie.found_by != Tie.FoundBy.PERSON],
        "slow": _slow_motion(figures),
    }


def _looking(request: SignedInRequest, row: Recording, figures: FitFigures) -> dict[str, Any]:
    """Where the page stands in the recording, its strip, and what can be done there."""
    frames = table_of(row)
    place = place_asked_for(row, frames, LookForm(request.GET))
    lane = lane_of(figures, place.media_s)
    first = {"frame": place.frame, "swim": request.GET.get("swim"), "kind": Tie.Kind.START_SEEN}
    return {
        "place": place,
        "lane": lane,
        "legend": legend_of(lane, figures) if lane else [],
        "form": TieForm(row, initial=first),
        "last_frame": len(frames) - 1,
        "run_frames": RUN_FRAMES,
        "clock_places": _places(row, figures, frames),
        "open": pictures_open_to(row, request.user),
    }


@dataclass(frozen=True)
class StripStill:
    """One still of the contact strip, as an area of the picture that leads to its frame."""

    frame: int
    coords: str


def _stills(row: Recording) -> list[StripStill]:
    boxes = boxes_of(row.contact_layout)
    return [StripStill(frame, ",".join(map(str, box))) for frame, box in boxes]


@dataclass(frozen=True)
class ShownPlace:
    """A place at which the recording may lie, with what speaks for it."""

    place: ClockPlace
    evidence: str
    matched: str
    still: int | None  # a frame to look at: a start, if this is the place


def _places(row: Recording, figures: FitFigures, frames: Any) -> list[ShownPlace]:
    """Both places that fit about as well; none when it is decided."""
    found = places_of(row, figures.fit, frames)
    hidden = Hidden(row) if found else None
    shown = []
    for place in found:
        still = place.frame
        if still is not None and hidden is not None and frames[still] in hidden:
            still = None
        shown.append(
            ShownPlace(place, fit_words.chance(place.false_match_p), _matched(place), still)
        )
    return shown


def _matched(place: ClockPlace) -> str:
    if place.matched is None or place.of is None:
        return ""
    told = _("%(n)s of %(of)s start signals fit.")
    return told % {"n": place.matched, "of": place.of}


@dataclass(frozen=True)
class SlowMotion:
    """What the page asks about slow motion. `asked`: the fit has reason to."""

    factor: float
    suggested: float
    asked: bool
    usual: tuple[int, ...] = USUAL_FACTORS

    @property
    def other(self) -> float | None:
        return self.suggested if self.suggested not in (1, *self.usual) else None


def _slow_motion(figures: FitFigures) -> SlowMotion:
    fit, factor = figures.fit, figures.recording.slow_motion
    told = (
        [one.get("slow_motion") for one in fit.candidates if isinstance(one, dict)] if fit else []
    )
    asked = [float(f) for f in told if isinstance(f, int | float) and f != factor]
    return SlowMotion(factor, asked[0] if asked else factor, bool(asked))
