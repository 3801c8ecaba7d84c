"""What the take-home page says of last time, and of what its figures are measured from."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.compute.sureness import how_sure, together_ms
from clinics.compute.time import TICKS_PER_S
from clinics.models import ClockFit, Swim
from clinics.views.words import sure_words
from feedback.actions.measured import views_of
from feedback.actions.measured_zero import choices_of, zero_of
from feedback.compute.measuring.events import Seen, at_m_of, place_of
from feedback.compute.measuring.measure import Measure, Unit
from feedback.compute.measuring.notation import written
from feedback.compute.measuring.uncertain import Quantity
from feedback.compute.take_home import Against, against
from feedback.models import Mark
from feedback.views.feedback import names_of
from feedback.views.measure_words import NO_BREAK, in_short, metres, with_unit
from feedback.views.measures_words import name_in_list, zero_words

FROM_THE_START = {"breakout-time", "time-to-distance", "time-to-entry", "split"}


def against_words(now: Measure, before: Measure | None) -> str:
    """“8.90 m last time; further by 0.90 m, more than its ± 0.12 m”."""
    if before is None:
        return ""
    found = against(now, before)
    if found is None:
        return _("too unsure to say whether it differs from last time")
    told = {"before": in_short(before.quantity, now.unit), **_apart(found.apart, now.unit)}
    if not found.apart.value and not found.apart.half_width_95:
        return _("%(before)s last time, too") % told
    if not found.differs:
        return _("%(before)s last time: no difference that can be told") % told
    return _differs(now, found) % told


def _apart(apart: Quantity, unit: Unit) -> dict[str, str]:
    w = written(apart.times(-1.0) if apart.value < 0 else apart)
    decimals = 0 if unit is Unit.COUNT and not w.half_width else w.decimals
    half = with_unit(number_format(w.half_width, decimals), unit)
    return {
        "by": with_unit(number_format(w.value, decimals), unit),
        "half": f"±{NO_BREAK}{half}",
    }


def _differs(now: Measure, found: Against) -> str:
    """Whether more is better is for the coach to say: only what differs, and which way."""
    more = found.apart.value > 0
    if not found.apart.half_width_95:  # a count
        return (
            _("%(before)s last time; %(by)s more")
            if more
            else _("%(before)s last time; %(by)s fewer")
        )
    if now.key in FROM_THE_START:
        return (
            _("%(before)s last time; later by %(by)s, more than its %(half)s")
            if more
            else _("%(before)s last time; sooner by %(by)s, more than its %(half)s")
        )
    if now.key == "underwater-distance":
        return (
            _("%(before)s last time; further by %(by)s, more than its %(half)s")
            if more
            else _("%(before)s last time; less far by %(by)s, more than its %(half)s")
        )
    if now.unit in (Unit.S, Unit.M):
        return (
            _("%(before)s last time; longer by %(by)s, more than its %(half)s")
            if more
            else _("%(before)s last time; shorter by %(by)s, more than its %(half)s")
        )
    if now.unit is Unit.M_PER_S:
        return (
            _("%(before)s last time; faster by %(by)s, more than its %(half)s")
            if more
            else _("%(before)s last time; slower by %(by)s, more than its %(half)s")
        )
    return (
        _("%(before)s last time; more by %(by)s, more than its %(half)s")
        if more
        else _("%(before)s last time; less by %(by)s, more than its %(half)s")
    )


# --- measured from --------------------------------------------------------------------------


def marks_under(measures: Iterable[Measure], marks: Sequence[Mark]) -> list[Mark]:
    """Of these marks: what the measures rest on."""
    keys = {key for one in measures for key in one.marks}
    return [mark for mark in marks if str(mark.pk) in keys]


def names_with_ends(measures: Iterable[Measure], seen: Mapping[str, Seen]) -> list[str]:
    distances = {key: at_m_of(mark) for key, mark in seen.items()}
    return [name_in_list(one, distances) for one in measures]


def from_words(swim: Swim, marks: Sequence[Mark], seen: Mapping[str, Seen]) -> list[str]:
    """Sentences: which cameras and how sure their clocks are, from where times count, who marked,
    where metres come from. The marks come with recording, station, clock fit and who placed them,
    `seen` by their keys; without any there is nothing to say."""
    if not marks:
        return []
    cameras: dict[uuid.UUID, Mark] = {}
    for mark in marks:
        cameras.setdefault(mark.recording_id, mark)
    filmed_by = "; ".join(_camera(swim, mark) for mark in cameras.values())
    people = names_of(mark.placed_by for mark in marks if mark.placed_by)
    frames = len({(mark.recording_id, mark.pts_ticks) for mark in marks})
    told = [
        _("Seen by: %(cameras)s.") % {"cameras": filmed_by},
        zero_words(zero_of(swim, views_of(marks), choices_of(swim))),
        _marked(people, frames),
        _places(marks, seen),
        _("All of it is as a camera saw you, from where it stood."),
    ]
    return [sentence for sentence in told if sentence]


def _camera(swim: Swim, mark: Mark) -> str:
    """“Underwater 12.5 m, time within a frame”."""
    fit: ClockFit | None = getattr(mark.recording, "clock_fit", None)
    known = fit is not None and fit.zero_at is not None
    u_ms = together_ms(fit.u_ms or 0.0, swim.start_u_ms) if fit is not None and known else None
    frame_ms = 1000.0 * mark.interval_ticks / TICKS_PER_S if mark.interval_ticks else None
    state = fit.state if fit is not None and known else "not-found"
    sure = sure_words(how_sure(state=state, u_ms=u_ms, frame_ms=frame_ms))
    return _("%(camera)s (times: %(sure)s)") % {
        "camera": mark.recording.station.name,
        "sure": sure,
    }


def _marked(people: str, frames: int) -> str:
    if not people:
        return ngettext("Marked on %(n)d frame.", "Marked on %(n)d frames.", frames) % {"n": frames}
    return ngettext(
        "Marked by %(people)s on %(n)d frame.", "Marked by %(people)s on %(n)d frames.", frames
    ) % {"people": people, "n": frames}


def _places(marks: Sequence[Mark], seen: Mapping[str, Seen]) -> str:
    """Where metres are from: said with the mark, or read off the picture by a plane in it."""
    known = [(mark, seen[str(mark.pk)]) for mark in marks if str(mark.pk) in seen]
    said = sorted({one.distance_m for _mark, one in known if one.distance_m is not None})
    pictured = {
        mark.recording.station.name
        for mark, one in known
        if one.distance_m is None and place_of(one) is not None
    }
    told = []
    if said:
        at = ", ".join(metres(one) for one in said)
        told.append(_("Distances as said with the marks: %(at)s.") % {"at": at})
    if pictured:
        views = ", ".join(sorted(pictured))
        told.append(
            _("Metres read off the picture of %(views)s, by marks of known place in it.")
            % {"views": views}
        )
    return " ".join(told)
