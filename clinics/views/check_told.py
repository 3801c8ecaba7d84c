"""What was done on a clinic's check board, in a sentence each, from the ids that were kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.models import BoardAct, Clip, Entry, Swim

if TYPE_CHECKING:
    import datetime as dt
    import uuid

Kind = BoardAct.Kind


@dataclass(frozen=True)
class Told:
    """One act as the board shows it."""

    pk: uuid.UUID
    sentence: str
    at: dt.datetime
    who: str
    undone: bool


def told(acts: Sequence[BoardAct]) -> list[Told]:
    """Two questions for all of them, however many they are."""
    names = _names(acts)
    places = _places(acts)
    return [
        Told(
            pk=act.pk,
            sentence=_sentence(act, names, places),
            at=act.at,
            who=str(act.by) if act.by else "",
            undone=act.undone_at is not None,
        )
        for act in acts
    ]


def _names(acts: Sequence[BoardAct]) -> dict[str, str]:
    """Names by entry and by swim: a clip's act knows only the swim."""
    entries = {pk for act in acts for pk in act.facts.get("entries", [])}
    swims = {act.facts["swim"] for act in acts if "swim" in act.facts}
    rows = Entry.objects.filter(pk__in=entries).values_list("pk", "swimmer__name")
    whose = Swim.objects.filter(pk__in=swims).values_list("pk", "entry__swimmer__name")
    return {str(pk): name for pk, name in (*rows, *whose)}


def _places(acts: Sequence[BoardAct]) -> dict[str, str]:
    clips = {act.facts["clip"] for act in acts if "clip" in act.facts}
    rows = Clip.objects.filter(pk__in=clips).values_list("pk", "station__name")
    return {str(pk): name for pk, name in rows}


def _sentence(act: BoardAct, names: dict[str, str], places: dict[str, str]) -> str:
    facts = act.facts
    somebody = _("somebody")
    people = [names.get(pk, somebody) for pk in facts.get("entries", [])]
    first = people[0] if people else names.get(facts.get("swim", ""), somebody)
    about = {
        "name": first,
        "other": people[1] if len(people) > 1 else somebody,
        "count": len(people),
        "station": places.get(facts.get("clip", ""), _("a station")),
        "frames": abs(facts.get("frames", 0)),
    }
    if act.kind == Kind.CONFIRM and len(people) > 1:
        return _many_confirmed(facts) % about
    sentence = (_pattern(act) % about) if _pattern(act) else str(act.get_kind_display())
    if facts.get("given"):
        mailed = _("The mail that told of it cannot be unsent.")
        return f"{sentence} {mailed}"
    return sentence


def _many_confirmed(facts: dict[str, object]) -> str:
    if facts.get("how") == "number":
        return _("%(count)d swims confirmed by their cards.")
    return _("%(count)d swims confirmed by face.")


def _pattern(act: BoardAct) -> str:
    """Of the sentence, by kind; empty for a kind that is not known here."""
    if act.kind == Kind.CONFIRM:
        if act.facts.get("how") == "number":
            return _("%(name)s confirmed by the card.")
        return _("%(name)s confirmed by face.")
    if act.kind == Kind.NUDGE:
        return ngettext(
            "%(name)s, %(station)s: moved by %(frames)d frame.",
            "%(name)s, %(station)s: moved by %(frames)d frames.",
            abs(act.facts.get("frames", 0)),
        )
    patterns = {
        str(Kind.SWAP): _("%(name)s and %(other)s swapped."),
        str(Kind.REASSIGN): _("%(name)s's swim is %(other)s's."),
        str(Kind.NO_SWIM): _("%(name)s: this was no swim."),
        str(Kind.ADD_SWIM): _("%(name)s: a swim added."),
        str(Kind.ENDS): _("%(name)s, %(station)s: new ends."),
        str(Kind.CUT): _("%(name)s, %(station)s: cut by hand."),
        str(Kind.OTHERS): _nobody(act),
    }
    return patterns.get(str(act.kind), "")


def _nobody(act: BoardAct) -> str:
    if len(act.facts.get("entries", [])) > 1:
        return _("Nobody else in %(count)d swims.")
    return _("%(name)s: nobody else.")
