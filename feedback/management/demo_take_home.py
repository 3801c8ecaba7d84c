"""Take-home pages in the demo: the coach gives those of the swims that have feedback."""

from __future__ import annotations

from dataclasses import replace

from clinics.models import Clinic, Swim
from feedback.actions.measured import measured_of
from feedback.actions.take_home import give_page, page_row
from feedback.actions.take_home_stills import ask_for_drawn, proposed
from feedback.compute.take_home import choice_of
from feedback.models import FeedbackSent, Mark
from portal.models import User


def give_demo_pages(*, clinic: Clinic, by: User) -> int:
    """Of every swim that was given and has words; how many pages were given now. As proposed,
    with stills of what was drawn: their jobs are asked for, and a worker makes them. A swim that
    has a page, or had one, is left alone."""
    written = FeedbackSent.objects.values("swim")
    swims = Swim.objects.coached_by(by).filter(
        entry__clinic=clinic, given_at__isnull=False, pk__in=written, take_home=None
    )
    found = list(swims.select_related("entry__swimmer__user", "entry__clinic__club"))
    for swim in found:
        _give(swim, by)
    return len(found)


def _give(swim: Swim, by: User) -> None:
    names = {str(clip.pk): clip.station.name for clip in swim.clips.select_related("station")}
    measures = measured_of(swim, Mark.objects.visible_to(by)).measures
    choice = proposed(swim, by, measures)
    ask_for_drawn(swim=swim, by=by, names=names, choice=choice)
    kept = page_row(swim)
    stills = choice_of(kept.choice).stills if kept is not None else ()
    give_page(swim=swim, by=by, choice=replace(choice, stills=stills))
