"""Who does what, as a page says it: posts with who holds them, what does not go, the dives."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.people_at_posts import (
    AtPosts,
    Candidate,
    PostLine,
    StationDives,
    station_need,
)
from clinics.actions.people_at_posts_acts import in_words_of
from clinics.actions.people_at_posts_words import DOES, POSTS, WHY
from clinics.compute.dives import Diver
from clinics.compute.posts import Place, Post, PostFinding, PostFindingKind, cautions
from clinics.models import Duty
from clinics.views.words import said

OF_PERSON = (
    PostFindingKind.LIFEGUARD_ELSEWHERE,
    PostFindingKind.WATCHER_IS_OPERATOR,
    PostFindingKind.TWICE_EXCLUDED,
)


@dataclass(frozen=True)
class HolderTold:
    """`ends`: the last day of a visitor."""

    duty: Duty
    ends: dt.date | None
    is_over: bool


@dataclass(frozen=True)
class PostTold:
    """`choices`: who else could be put there, as (id, name and what they hold)."""

    key: str
    title: str
    station: str
    does: str
    holders: list[HolderTold]
    lifeguard: str
    is_lifeguard: bool
    choices: list[tuple[uuid.UUID, str]]

    @property
    def is_held(self) -> bool:
        return bool(self.holders or self.lifeguard)


@dataclass(frozen=True)
class FindingTold:
    words: str
    is_caution: bool  # it goes, but somebody should think of it


@dataclass(frozen=True)
class DivesTold:
    station: str
    how_many: str
    lines: list[str]
    nobody: bool
    over: bool


def posts_told(now: AtPosts) -> list[PostTold]:
    ends = {one.user.pk: one.works_until() for one in now.candidates}
    return [_post(now, line, ends) for line in now.lines]


def _post(now: AtPosts, line: PostLine, ends: dict[Any, Any]) -> PostTold:
    """Once the day is over, a visit that ended since is as it should be."""
    today = timezone.now().date()
    holders = []
    for duty in line.duties:
        last = ends.get(duty.user_id)
        until = last.until_date if last is not None else None
        ended = duty.user_id not in ends or (until is not None and until < today)
        over = ended and now.clinic.date >= today
        holders.append(HolderTold(duty, until, over))
    there = {duty.user_id for duty in line.duties}
    return PostTold(
        key=line.key,
        title=said(POSTS[line.place.post]),
        station=line.station.name if line.station else "",
        does=said(DOES[line.place.post]),
        holders=holders,
        lifeguard=line.lifeguard,
        is_lifeguard=line.place.post is Post.LIFEGUARD,
        choices=[
            (one.user.pk, _choice(now, one)) for one in now.candidates if one.user.pk not in there
        ],
    )


def _choice(now: AtPosts, candidate: Candidate) -> str:
    held = [said(POSTS[Post(duty.kind)]) for duty in now.duties_of(candidate.user.pk)]
    name = str(candidate.user)
    return f"{name} ({', '.join(dict.fromkeys(held))})" if held else name


def post_choices(now: AtPosts) -> list[tuple[str, str]]:
    """Posts that somebody can be invited to."""
    lines = [line for line in now.lines if line.place.post is not Post.LIFEGUARD]
    return [(line.key, said(in_words_of(now, line.place))) for line in lines]


# --- what does not go ----------------------------------------------------------------------------


def findings_told(now: AtPosts, closing: dt.date) -> list[FindingTold]:
    """Except who is missing, which each post says by itself. Errors first, then cautions."""
    found = [_finding(now, one) for one in now.findings if one.kind != PostFindingKind.MISSING]
    found += list(_of_memberships(now, closing))
    return sorted(found, key=lambda one: one.is_caution)


def _finding(now: AtPosts, found: PostFinding) -> FindingTold:
    who = now.names.get(found.person or "", "")
    places = [said(in_words_of(now, place)) for place in found.places]
    if found.kind is PostFindingKind.WATCHER_IS_OPERATOR:
        told = _(
            "%(who)s is under water and cannot be the one who watches. Find somebody else as "
            "watcher."
        )
        return FindingTold(told % {"who": who}, is_caution=False)
    if found.kind in OF_PERSON and found.why is not None:
        told = _("%(who)s cannot hold both “%(one)s” and “%(other)s”: %(why)s.")
        said_of = {"who": who, "one": places[0], "other": places[1], "why": said(WHY[found.why])}
        return FindingTold(told % said_of, is_caution=False)
    if found.kind is PostFindingKind.NOT_NEEDED:
        return FindingTold(_not_needed(found.places[0]) % {"who": who, "post": places[0]}, True)
    told = _("%(who)s holds %(count)d posts: %(posts)s. They go together, but it is a lot.")
    of = {"who": who, "count": len(places), "posts": "; ".join(places)}
    return FindingTold(told % of, is_caution=True)


def _not_needed(place: Place) -> str:
    if place.station is None:
        return _("%(who)s stands at “%(post)s”, and no station is named. Say at which.")
    return _("%(who)s stands at “%(post)s”, which this station does not need.")


def _of_memberships(now: AtPosts, closing: dt.date) -> Iterator[FindingTold]:
    """Who has a post and does not work for the club then; a checker must last until closing."""
    seen = set()
    is_past = now.clinic.date < timezone.now().date()
    for duty in [duty for line in now.lines for duty in line.duties] + now.loose:
        candidate = now.candidate(duty.user_id)
        if candidate is None and duty.user_id not in seen and not is_past:
            seen.add(duty.user_id)
            told = _(
                "%(who)s does not work for the club on the day: the membership has ended, or has "
                "not begun. It counts for nothing until they are invited again."
            )
            yield FindingTold(told % {"who": duty.user}, is_caution=False)
        last = candidate.works_until() if candidate is not None else None
        if (
            duty.kind == Duty.Kind.CHECKER
            and last
            and last.until_date
            and last.until_date < closing
        ):
            told = _(
                "%(who)s checks, but ends before the clinic is expected to be closed. Let them "
                "stay longer, or name a second checker."
            )
            yield FindingTold(told % {"who": duty.user}, is_caution=True)


def cautions_told(now: AtPosts) -> list[tuple[str, str]]:
    """To be read before the hour, each with its reason or nothing."""
    found = cautions([station_need(station) for station in now.stations])
    return [(said(item.words), said(item.why) if item.why else "") for item in found]


# --- dives ---------------------------------------------------------------------------------------


def dives_told(now: AtPosts) -> list[DivesTold]:
    return [_dives(one) for one in now.dives]


def _dives(of: StationDives) -> DivesTold:
    told = ngettext(
        "One go passes here %(n)d time", "One go passes here %(n)d times", of.each_go
    ) % {"n": of.each_go}
    total = of.each_go * of.swimmers
    told += ngettext(
        ": %(n)d dive for %(swimmers)d swimmers.",
        ": %(n)d dives for %(swimmers)d swimmers.",
        total,
    ) % {"n": total, "swimmers": of.swimmers}
    lines = [_diver(of, diver) for diver in of.dives.divers] if of.swimmers else []
    over = any(diver.over for diver in of.dives.divers)
    return DivesTold(of.station.name, told, lines, of.dives.nobody, over)


def _diver(of: StationDives, diver: Diver) -> str:
    who = of.names[diver.person]
    groups = [turn.group for turn in of.dives.turns if turn.operator == diver.person]
    told = ngettext("%(who)s: %(n)d dive", "%(who)s: %(n)d dives", diver.dives) % {
        "who": who,
        "n": diver.dives,
    }
    if groups:
        of_groups = ngettext(", group %(groups)s", ", groups %(groups)s", len(groups))
        told += of_groups % {"groups": ", ".join(groups)}
    if diver.longest:
        told += _("; at most %(n)d before a group’s rest") % {"n": diver.longest}
    if diver.over:
        told += _("; %(n)d more than agreed") % {"n": diver.over}
    return f"{told}."
