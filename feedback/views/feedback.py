"""What the coaches write for a swim, what the swimmer reads of it, and the swim in the queue."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.models import Swim
from feedback.actions.feedback import Going, stamp_of, what_goes
from feedback.actions.taken import holder_of
from feedback.feedback_form import FeedbackForm
from feedback.models import Feedback, FeedbackSent
from feedback.privacy import coaches_of
from feedback.views.coaching import coaches_here
from feedback.views.walk import in_queue, walk_of
from portal.models import User
from portal.requests import SignedInRequest


@dataclass(frozen=True)
class Panel:
    """The coaches' words as the page shows them."""

    form: FeedbackForm
    kept: Feedback | None
    going: Going | None = None  # shown before it is sent
    meanwhile: Feedback | None = None  # what somebody else kept since this page was opened


def _words_of(swim: Swim) -> Feedback | None:
    return Feedback.objects.filter(swim=swim).select_related("updated_by").first()


def panel_of(
    request: SignedInRequest,
    swim: Swim,
    *,
    form: FeedbackForm | None = None,
    meanwhile: Feedback | None = None,
    about_to_send: bool = False,
) -> Panel:
    """`form`: what was typed and not accepted, else what was kept is shown."""
    kept = _words_of(swim)
    return Panel(
        form=form or FeedbackForm.of(kept, stamp_of(kept)),
        kept=kept,
        going=what_goes(swim, request.user) if about_to_send else None,
        meanwhile=meanwhile,
    )


def going_words(going: Going | None) -> str:
    """What goes, counted: “one thing to try, 2 points, 3 comments”."""
    if going is None:
        return ""
    told = [_("one thing to try")] if going.one_thing else []
    for count, words in (
        (len(going.points), ngettext("%(n)d point", "%(n)d points", len(going.points))),
        (going.comments, ngettext("%(n)d comment", "%(n)d comments", going.comments)),
        (going.drawings, ngettext("%(n)d drawing", "%(n)d drawings", going.drawings)),
    ):
        told += [words % {"n": count}] if count else []
    return ", ".join(told)


def sent_to_the_swimmer(swim: Swim, user: User) -> FeedbackSent | None:
    """The newest that was sent, to whoever may see the swim."""
    sent = FeedbackSent.objects.visible_to(user).filter(swim=swim)
    return sent.select_related("sent_by").order_by("-sent_at").first()


def queue_part(request: SignedInRequest, swim: Swim) -> dict[str, Any]:
    """For the coach alone. Asked for only where it is shown: a page that sends back a part of
    the room does not go through the queue."""
    walk = walk_of(request.GET, request.user)
    return {
        "walk": walk,
        "queue": cache(lambda: in_queue(swim, request.user, walk)),
        "holder": cache(lambda: holder_of(swim)),
        "fellow_coaches": cache(lambda: list(coaches_of(swim.entry.clinic))),
    }


def feedback_part(
    request: SignedInRequest, swim: Swim, panel: Panel | None = None
) -> dict[str, Any]:
    """Asks for the swim's entry, clinic and swimmer."""
    told: dict[str, Any] = {"sent": cache(lambda: sent_to_the_swimmer(swim, request.user))}
    if not coaches_here(request, swim):
        return told
    shown = cache(lambda: panel or panel_of(request, swim, about_to_send="send" in request.GET))
    return {
        **told,
        **queue_part(request, swim),
        "panel": shown,
        "going_words": cache(lambda: going_words(shown().going)),
    }


def names_of(people: Iterable[User]) -> str:
    """“Ines Aldana and Mara Lindqvist”."""
    names = sorted({str(person) for person in people})
    if len(names) < 2:
        return "".join(names)
    return _("%(most)s and %(last)s") % {"most": ", ".join(names[:-1]), "last": names[-1]}
