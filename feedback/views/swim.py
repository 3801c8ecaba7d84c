"""The page of one swim: its views, its lane strip, what was said, and the words to say more."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from clinics.actions.clip_files import open_swim
from clinics.actions.sign_up_notes import entry_notes_for
from clinics.models import Clip, ClipFile, Swim
from feedback.actions.look import look
from feedback.compute.phases import phases_between
from feedback.forms import SayForm
from feedback.models.phases import Phase
from feedback.privacy import is_own
from feedback.views.body import body_part
from feedback.views.coaching import coaches_here
from feedback.views.compare import compare_part
from feedback.views.drawings import drawing_part
from feedback.views.feedback import feedback_part
from feedback.views.films import films_of
from feedback.views.mark_list import PlacedMark
from feedback.views.marks import marks_part
from feedback.views.measures import measures_part
from feedback.views.on_strip import lane_of
from feedback.views.planes import plane_part
from feedback.views.rate_read import rate_part
from feedback.views.room_data import opening, views_of
from feedback.views.said_column import said_part
from feedback.views.spread import spread_part
from feedback.views.take_along import take_along_part
from feedback.views.take_home import take_home_part
from portal.compute.lane_strip import Span
from portal.requests import SignedInRequest
from portal.shell import stands_under


def page_of(
    request: SignedInRequest, swim: Swim, looked_at: dt.datetime | None, form: SayForm | None = None
) -> dict[str, Any]:
    """All that the page and its column of comments show."""
    user = request.user
    views = views_of(swim, user)
    opened = opening(swim, views, request.GET)
    said = said_part(request, swim, views, looked_at, form)
    drawn = drawing_part(request, swim, views)
    marked = marks_part(request, swim, views)
    placed_part = {**plane_part(request, swim, views), **body_part(request, swim, views)}
    comments = [item.comment for item in said["said"]]
    phases = phases_of(marked["marks"])
    lane = lane_of(
        swim,
        {view.clip: view.name for view in views},
        comments,
        now_s=opened.at_s if opened else None,
        flags=marked["flags"],
        phases=phases,
    )
    coaching, own = coaches_here(request, swim), is_own(user, swim)
    return {
        "swim": swim,
        "entry": swim.entry,
        "clinic": swim.entry.clinic,
        "views": views,
        "opening": opened,
        "lane": lane,
        "coaching": coaching,
        "own": own,
        "entry_notes": entry_notes_for(user, swim.entry) if coaching else None,
        **said,
        **drawn,
        **marked,
        **measures_part(request, swim, marked["marks"]),
        **feedback_part(request, swim),
        **compare_part(request, swim),
        **take_along_part(request, swim, views),
        **rate_part(request, swim, views),
        **spread_part(request, swim),
        **take_home_part(request, swim),
        **placed_part,
        "for_script": {
            "swim": {"key": str(swim.pk), "begin_s": lane.begin_s, "end_s": lane.end_s},
            "views": [view.for_script() for view in views],
            "opening": {"view": opened.view.key, "frame": opened.frame} if opened else None,
            "can": may(coaching=coaching, own=own),
            "phases": [
                {"name": span.name, "from_s": span.from_s, "to_s": span.to_s} for span in phases
            ],
            "drawings": drawn["drawings_for_script"],
            "marks": marked["marks_for_script"],
            "guides": marked["guides_for_script"],
            "planes": placed_part.get("planes_for_script", []),
            "bodies": placed_part.get("bodies_for_script", []),
        },
    }


def may(*, coaching: bool, own: bool) -> dict[str, bool]:
    """What the page offers; each address asks the fence again."""
    return {
        "say": coaching or own,
        "draw": coaching or own,
        "mark": coaching,
        "coach": coaching,
        "own": own,
    }


def phases_of(placed: list[PlacedMark]) -> list[Span]:
    told = phases_between((one.mark.kind, one.at_s) for one in placed if one.at_s is not None)
    return [Span(one.from_s, one.to_s, str(Phase(one.phase).label)) for one in told]


WITH_IT = ("entry__swimmer", "entry__clinic__club", "given_by")


def swim_for(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    """With what is said about it. Hidden and absent alike: 404."""
    swims = Swim.objects.reviewed_by(request.user)
    return get_object_or_404(swims.select_related(*WITH_IT), pk=pk)


def stands_under_its_place(request: SignedInRequest, swim: Swim) -> None:
    """The header's place that leads to it: the swimmer's own, or the coach's queue."""
    stands_under(request, "my-swims" if is_own(request.user, swim) else "waiting")


def _film_alone(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """For the other swimmers of the clinic: nothing of what was said, drawn or measured."""
    swims = Swim.objects.shown_to_group(request.user).select_related(*WITH_IT)
    swim = get_object_or_404(swims, pk=pk)
    clips = Clip.objects.visible_to(request.user).filter(swim=swim)
    films = films_of(clips, ClipFile.objects.visible_to(request.user))
    told = {"swim": swim, "entry": swim.entry, "clinic": swim.entry.clinic, "films": films}
    return render(request, "feedback/film.html", told)


@require_safe
def swim(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    reviewed = Swim.objects.reviewed_by(request.user).select_related(*WITH_IT)
    shown = reviewed.filter(pk=pk).first()
    if shown is None:
        return _film_alone(request, pk)
    looked_at = look(swim=shown, user=request.user)
    open_swim(swim=shown)
    stands_under_its_place(request, shown)
    return render(request, "feedback/swim.html", page_of(request, shown, looked_at))
