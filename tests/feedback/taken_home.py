"""A take-home page in tests: Tomas's swim with words, marks and a still, and three weeks earlier
one to compare with."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from clinics.models import Swim
from feedback.actions.feedback import keep_words, send_feedback
from feedback.actions.take_home import give_page, page_row
from feedback.compute.take_along import Kind, Spec
from feedback.compute.take_home import Choice
from feedback.models import TakeAlong, TakeHome
from feedback.views.take_home_page import choice_now, known_of
from tests.cast import Cast, make_still, make_stored
from tests.feedback.marked_swims import mark_swim

ONE_THING = "Reach to your own side of the lane."
POINTS = ("Push from the legs first.", "Look where you go in.")


def heard(swim: Swim) -> Swim:
    """Its start was heard, so that it is known to milliseconds."""
    Swim.objects.filter(pk=swim.pk).update(start_kind="heard", start_u_ms=4.0)
    swim.refresh_from_db()
    return swim


def said_and_marked(cast: Cast, swim: Swim | None = None) -> Swim:
    """One thing and two points sent, and all events of the swim marked."""
    swim = heard(swim or cast.swims["tomas"])
    keep_words(swim=swim, by=cast.coach, one_thing=ONE_THING, points=POINTS, stamp="")
    send_feedback(swim=swim, by=cast.coach)
    mark_swim(swim, cast.recordings["start-side"], cast.coach)
    return swim


def still_of(cast: Cast, swim: str = "tomas", frame: int = 3, **more: Any) -> TakeAlong:
    """Made for the swimmer by the coach."""
    clip = cast.clips[swim][1]
    stored = make_stored(cast.harbour, make_still((9, 80, 99)), kind="take-along", suffix=".jpg")
    spec = Spec(Kind.STILL, (str(clip.pk),), ("Underwater 12.5 m",), frame, frame, drawings=True)
    told = {
        "state": "ready",
        "made_at": timezone.now(),
        "kind": "still",
        "spec": {**spec.to_json(), "at_s": [7.12, 7.12]},
        "asked_by": cast.coach,
        "for_swimmer": True,
        "stored": stored,
        **more,
    }
    row = TakeAlong.objects.create(swim=clip.swim, entry=clip.swim.entry, clip_count=1, **told)
    row.clips.add(clip)
    return row


def proposed(swim: Swim, by: Any) -> Choice:
    return choice_now(known_of(swim, by), by, page_row(swim))


def given(cast: Cast, swim: Swim | None = None, choice: Choice | None = None) -> TakeHome:
    """The page of a swim, given by its coach as it is proposed."""
    swim = swim or cast.swims["tomas"]
    return give_page(swim=swim, by=cast.coach, choice=choice or proposed(swim, cast.coach))
