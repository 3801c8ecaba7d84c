"""What the access record says of what is done with swims, and the swimmer's own view of it."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal import audit_words
from portal.registry import NavEntry, own_places
from portal.requests import SignedInRequest
from portal.shell import footage_clubs_of


def register_trail() -> None:
    from feedback.actions import trail

    trail.register()
    audit_words.know(
        audit_words.SEEN,
        {
            "take-along.ask": _("had a still or film made"),
            "take-along.download": _("downloaded a still or film"),
            "take-home.see": _("saw a still of the take-home page"),
            "take-home.download": _("saved the take-home page"),
            "share.open": _("opened it by a link"),
            "measures.take": _("took a clinic's measures along"),
            "shelf.view": _("watched it on the teaching shelf"),
        },
    )
    audit_words.know(
        audit_words.CONSENT,
        {
            "share.make": _("made a link"),
            "share.end": _("ended a link"),
            "shelf.put": _("put a clip on the teaching shelf"),
            "shelf.end": _("took a clip off the teaching shelf"),
        },
    )
    audit_words.know(
        audit_words.WORK,
        {
            "feedback.": _("wrote or sent feedback"),
            "reply": _("replied"),
            "comment-edited": _("edited a comment"),
            "comment-draft-deleted": _("threw a draft away"),
            "drawn": _("drew on a frame"),
            "drawing-moved": _("moved a drawing"),
            "drawing-stands": _("changed how long a drawing stands"),
            "drawing-rubbed-out": _("rubbed a drawing out"),
            "mark-placed": _("marked an event"),
            "mark-changed": _("changed a mark"),
            "strokes-said": _("said in which strokes the lengths of a medley were swum"),
            "mark-taken-away": _("took a mark away"),
            "body-points-set": _("set points of the body on a frame"),
            "body-points-changed": _("changed points of the body on a frame"),
            "body-points-taken-away": _("took points of the body off a frame"),
            "body-table-chosen": _("chose a table of the body's shares of mass"),
            "plane-placed": _("set metres in a picture"),
            "plane-taken-away": _("took metres in a picture away"),
            "start-marked": _("counted a swim from a marked start signal"),
            "start-as-found": _("counted a swim from the start as found again"),
            "measuring-choice": _("chose between which distances turns are timed"),
            "take-home.choose": _("chose what is on a take-home page"),
            "take-home.give": _("gave a take-home page"),
            "take-home.take-back": _("took a take-home page back"),
            "take-along.remove": _("took a still or film away"),
        },
    )
    own_places.register(
        NavEntry("seen", _("Who has seen my swims"), "feedback:seen", 30, shown_to=_is_in_footage)
    )


def _is_in_footage(request: SignedInRequest) -> bool:
    return bool(footage_clubs_of(request))
