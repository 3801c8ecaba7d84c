"""The guided passes of a swim, as the script that leads through them takes them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.utils.translation import gettext as _

from clinics.models import Swim
from clinics.views.words import said
from feedback.actions.measured import planes_of, seen_of, zone_of
from feedback.actions.measured_zero import course_of
from feedback.compute.measuring.events import NAMES, Event
from feedback.compute.measuring.guide import Guided, Step, full_pass, guided, quick_pass
from feedback.compute.measuring.swim_marks import SwimMarks, put_in_order
from feedback.models import Mark
from feedback.views.measure_words import metres
from portal.models import User


def guides_of(swim: Swim, marks: Iterable[Mark], user: User) -> dict[str, list[dict[str, Any]]]:
    """By the name of the pass: its steps, which of them this user has marked, and when each is
    expected. Marks of others help to expect, and are not taken for one's own."""
    course, me = course_of(swim), str(user.pk)
    marks = list(marks)
    ordered = put_in_order(seen_of(swim, marks, planes_of(marks)), course, by=me)
    full = full_pass(course, zone_of(swim.entry.clinic.club))
    return {
        "quick": _steps(quick_pass(course), swim, ordered, me),
        "full": _steps(full, swim, ordered, me),
    }


def _steps(steps: Sequence[Step], swim: Swim, ordered: SwimMarks, me: str) -> list[dict[str, Any]]:
    told = guided(steps, ordered, swim.entry.pace_s_per_100m, by=me)
    return [_for_script(one) for one in told]


def _for_script(one: Guided) -> dict[str, Any]:
    return {
        "kinds": [event.value for event in one.step.events],
        "label": _label(one.step),
        "distance_m": one.step.at_m,
        "repeats": one.step.repeats,
        "done": one.done,
        "at_s": round(one.expected_s, 3),
    }


def _label(step: Step) -> str:
    if step.event is Event.HEAD_AT_DISTANCE and step.at_m is not None:
        return _("head at %(distance)s") % {"distance": metres(step.at_m)}
    name = said(NAMES[step.event])
    if step.repeats:
        name = _("each hand entry, one after the other")
    if not step.number:
        return name
    return _("%(event)s, length %(number)d") % {"event": name, "number": step.number}
