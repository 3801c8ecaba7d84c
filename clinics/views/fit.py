"""The figures of clock fits: residuals against time, uncertainties, evidence. No footage here, so
that admins of the club see it, too."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from clinics.actions.fit_figures import FitFigures, TieFigure, figures_of
from clinics.compute import fit_plot
from clinics.compute.time import from_epoch_s, to_epoch_s
from clinics.models import Clinic, Recording, Tie
from clinics.views import fit_words
from clinics.views.fit_told import as_a_whole, name_of, tie_lines, told_of
from clinics.views.fit_words import SHAPE_OF
from clinics.views.recording_strip import ShapeKey, tie_words
from portal.compute.lane_strip import SHAPES, clock
from portal.requests import SignedInRequest


@require_safe
def recording_fit(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    rows = Recording.objects.measured_by(request.user).select_related("station__clinic__club")
    row = get_object_or_404(rows, pk=pk)
    clinic = row.station.clinic
    figures = figures_of(Recording.objects.filter(pk=row.pk), clinic)
    plot = fit_plot.draw([_panel(name_of(row), figures, None)])
    context = {
        "recording": row,
        "clinic": clinic,
        "may_handle": Recording.objects.handled_by(request.user).filter(pk=row.pk).exists(),
        "told": told_of(figures[0]),
        "plot": plot and _shown(plot, figures, [clock(step.at_s) for step in plot.steps]),
        "ties": tie_lines(figures),
        "axis": _("time in the recording"),
    }
    return render(request, "clinics/fit_recording.html", context)


@require_safe
def clinic_fit(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """All recordings of the clinic whose figures the person may see, on one axis of time."""
    clinic = _clinic(request, pk)
    rows = Recording.objects.measured_by(request.user)
    figures = figures_of(rows, clinic)
    reference = dt.datetime.combine(clinic.date, dt.time(), clinic.zone).astimezone(dt.UTC)
    stations = groupby(figures, key=lambda one: one.recording.station)
    panels = [_panel(station.name, list(of), reference) for station, of in stations]
    plot = fit_plot.draw([panel for panel in panels if panel.points or panel.bands])
    context = {
        "clinic": clinic,
        "handled": set(
            Recording.objects.handled_by(request.user)
            .filter(station__clinic=clinic)
            .values_list("pk", flat=True)
        ),
        "told": [told_of(one) for one in figures],
        "as_a_whole": as_a_whole(clinic),
        "plot": plot and _shown(plot, figures, _times_of_day(plot, reference, clinic)),
        "ties": tie_lines(figures),
        "axis": _("time of day"),
    }
    return render(request, "clinics/fit_clinic.html", context)


def _clinic(request: SignedInRequest, pk: uuid.UUID) -> Clinic:
    mine = Clinic.objects.filter(pk=pk).select_related("club")
    user = request.user
    may = (Clinic.objects.worked_by, Clinic.objects.checked_by, Clinic.objects.run_by)
    if not any(rows(user).filter(pk=pk).exists() for rows in may):
        mine = mine.none()
    return get_object_or_404(mine)


# --- the plot ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ShownDot:
    x: float
    y: float
    path: str
    hollow: bool


@dataclass(frozen=True)
class ShownPanel:
    name: str
    upper: str
    lower: str
    band: str
    ends: Sequence[float]
    dots: Sequence[ShownDot]


@dataclass(frozen=True)
class ShownPlot:
    panels: Sequence[ShownPanel]
    steps: Sequence[tuple[float, str, bool]]  # place, label, left out where there is little room
    legend: Sequence[ShapeKey]


def _panel(
    name: str, figures: Sequence[FitFigures], reference: dt.datetime | None
) -> fit_plot.Panel:
    """`reference`: times are seconds of the clinic after it; None: of the one recording itself."""
    points = [
        fit_plot.Point(at_s, one.residual_ms, one.tie.kind, one.tie.set_aside, tie_words(one.tie))
        for figure in figures
        for one in figure.ties
        if one.residual_ms is not None and (at_s := _at_s(one, reference)) is not None
    ]
    bands = [band for figure in figures if (band := _band(figure, reference)) is not None]
    return fit_plot.Panel(name, points, bands)


def _at_s(one: TieFigure, reference: dt.datetime | None) -> float | None:
    if reference is None:
        return one.media_s
    return None if one.instant is None else to_epoch_s(one.instant, reference)


def _band(figure: FitFigures, reference: dt.datetime | None) -> fit_plot.Band | None:
    fit = figure.fit
    if fit is None or fit.u_ms is None or figure.begins_at is None or figure.ends_at is None:
        return None
    ends = (0.0, figure.recording.duration_s or 0.0)
    if reference is not None:
        ends = (to_epoch_s(figure.begins_at, reference), to_epoch_s(figure.ends_at, reference))
    told = [fit.u_ms if u is None else u for u in (fit.u_begin_ms, fit.u_mid_ms, fit.u_end_ms)]
    return fit_plot.Band(*ends, *told)


def _shown(plot: fit_plot.Plot, figures: Sequence[FitFigures], labels: Sequence[str]) -> ShownPlot:
    panels = [
        ShownPanel(
            name=panel.name,
            upper=fit_words.ms(panel.limit_ms),
            lower=fit_words.ms(-panel.limit_ms),
            band=panel.band,
            ends=panel.ends,
            dots=[ShownDot(dot.x, dot.y, _path(dot), dot.hollow) for dot in panel.points],
        )
        for panel in plot.panels
    ]
    steps = [
        (step.x, label, bool(n % 2))
        for n, (step, label) in enumerate(zip(plot.steps, labels, strict=True))
    ]
    return ShownPlot(panels, steps, _legend(figures))


def _path(dot: fit_plot.Dot) -> str:
    """Its kind's shape; off the panel, an arrow that way."""
    if dot.beyond:
        return SHAPES["up"] if dot.point.residual_ms > 0 else SHAPES["down"]
    return SHAPES[SHAPE_OF[Tie.Kind(dot.point.kind)]]


def _legend(figures: Sequence[FitFigures]) -> list[ShapeKey]:
    ties = [one for figure in figures for one in figure.ties]
    kinds = {one.tie.kind for one in ties}
    told = [ShapeKey(SHAPES[s], str(kind.label)) for kind, s in SHAPE_OF.items() if kind in kinds]
    if any(one.tie.set_aside for one in ties):
        told.append(ShapeKey(SHAPES["round"], _("hollow: it does not count"), hollow=True))
    return told


def _times_of_day(plot: fit_plot.Plot, reference: dt.datetime, clinic: Clinic) -> list[str]:
    whole_minutes = all(step.at_s % 60 == 0 for step in plot.steps)
    shape = "%H:%M" if whole_minutes else "%H:%M:%S"
    at = [from_epoch_s(step.at_s, reference).astimezone(clinic.zone) for step in plot.steps]
    return [one.strftime(shape) for one in at]
