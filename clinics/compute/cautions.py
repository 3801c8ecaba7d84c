"""The usual cautions for a pool hour, by where they belong, to be read and acknowledged.

Nothing here says that something is safe; the pool's operator, local codes and licensed practice
come first. The words of kits, posts and limits stand in their own modules, and only there.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field

from clinics.compute import caution_words as words
from clinics.compute.caution_words import Caution
from clinics.compute.errors import Said
from clinics.compute.errors import say as _
from clinics.compute.geometry import DECK as DECK_KIND
from clinics.compute.geometry import UNDERWATER
from clinics.compute.posts import Post, StationNeed
from clinics.compute.posts import cautions as of_kits
from clinics.compute.start_depth import DEFERENCE
from clinics.compute.start_limits import BLOCK, EDGE, STUDIES, Study
from clinics.compute.start_words import (
    STARTS,
    Here,
    LimitLine,
    depth_words,
    height_words,
    limit_lines,
    sum_up,
)

START, UNDER_WATER, DECK, MAINS, COLD = "start", "under-water", "deck", "mains", "cold"


@dataclass(frozen=True)
class Situation:
    """What the cautions of a clinic depend on. `starts`: how its swimmers start, empty if nobody
    is entered; `posts`: which posts somebody holds; `power`: what was said of mains power."""

    here: Here = field(default_factory=Here)
    starts: frozenset[str] = frozenset()
    stations: tuple[StationNeed, ...] = ()
    posts: frozenset[str] = frozenset()
    power: str = ""


@dataclass(frozen=True)
class Topic:
    """The cautions of one place. `facts`: what was said of this pool; `limits` with what they
    come to (`comes_to`) and what was measured of starts, where head-first starts are meant."""

    key: str
    title: Said
    lines: tuple[Caution, ...]
    facts: tuple[Said, ...] = ()
    for_whom: Said | None = None
    comes_to: Said | None = None
    limits: tuple[LimitLine, ...] = ()
    studies: tuple[Study, ...] = ()

    def text(self) -> Iterable[str]:
        """All that is read, in English."""
        yield from (self.title, self.for_whom or "", *self.facts)
        for limit in self.limits:
            yield from limit.text()
        for study in self.studies:
            yield from (study.found, study.source)
        yield from (self.comes_to, DEFERENCE) if self.comes_to else ()
        for line in self.lines:
            yield f"{line.words} ({line.why})" if line.why else line.words

    @property
    def sha256(self) -> str:
        """Of the words, so that changed words are read again; the reader's language is apart."""
        return hashlib.sha256("\n".join(self.text()).encode()).hexdigest()


def topics(of: Situation) -> tuple[Topic, ...]:
    """What is read before this clinic's pool hour. Under water only where somebody films there.

    >>> [topic.key for topic in topics(Situation())]
    ['start', 'deck', 'mains', 'cold']
    """
    under = any(one.kind == UNDERWATER for one in of.stations) or _dives(of)
    return (
        _start(of),
        *((_under_water(of),) if under else ()),
        Topic(DECK, _("On the wet deck"), (*_kit(of, DECK), *_deck(of))),
        Topic(MAINS, _("Mains power and cables"), (*_kit(of, MAINS), *words.MAINS), (_power(of),)),
        Topic(COLD, _("Cold, wet and long"), (*_kit(of, COLD), *words.COLD)),
    )


def to_read(key: str, post: str, station_kind: str | None = None) -> bool:
    """Is whoever holds this post to read that topic? A checker's duty comes after the day.

    >>> to_read("under-water", "starter"), to_read("under-water", "logger")
    (True, False)
    """
    if post == Post.CHECKER:
        return False
    if key != UNDER_WATER:
        return True
    return post in (Post.OPERATOR, Post.WATCHER, Post.STARTER) or station_kind == UNDERWATER


def _dives(of: Situation) -> bool:
    """Does somebody go under water, or stands as if?"""
    held = any(one.kind == UNDERWATER and not one.fixed_mount for one in of.stations)
    return held or bool(of.posts & {Post.OPERATOR, Post.WATCHER})


_PLACES = {
    "battery-only": MAINS,
    "clear-way": DECK,
    **dict.fromkeys(("breath-hold", "dives", "mount-weights", "watcher"), UNDER_WATER),
    "fixed-mount": UNDER_WATER,
}


def _kit(of: Situation, key: str) -> tuple[Caution, ...]:
    """The cautions of kits and posts that belong there; one that nobody has placed: on deck."""
    stations = list(of.stations)
    if _dives(of) and not any(one.kind == UNDERWATER and not one.fixed_mount for one in stations):
        stations.append(StationNeed("held", UNDERWATER, fixed_mount=False))
    items = [item for item in of_kits(stations) if _PLACES.get(item.key, DECK) == key]
    items.sort(key=lambda item: item.caution)  # what is preferred, then what to beware of
    return tuple(Caution(item.words, item.why) for item in items)


def _start(of: Situation) -> Topic:
    starts = [one for one in STARTS if one in of.starts] or [BLOCK, EDGE]
    limits = limit_lines(of.here, starts)
    return Topic(
        START,
        _("Before anyone dives"),
        words.START,
        (*depth_words(of.here), *(height_words(one, of.here) for one in starts)),
        comes_to=sum_up(limits, of.here) if limits else None,
        limits=limits,
        studies=STUDIES if limits else (),
    )


def _under_water(of: Situation) -> Topic:
    own = words.HELD if _dives(of) else words.FIXED
    whom = _("For whoever films there, whoever watches them, and whoever starts the swimmers.")
    lines = (*_kit(of, UNDER_WATER), *own)
    return Topic(UNDER_WATER, _("Under water"), lines, for_whom=whom)


def _deck(of: Situation) -> tuple[Caution, ...]:
    walks = any(one.kind == DECK_KIND and not one.fixed_mount for one in of.stations)
    return (*words.DECK, *(words.WALKS if walks else ()))


def _power(of: Situation) -> Said:
    if of.power:
        return _("Said of mains power here: %(power)s", power=of.power)
    return _("Nobody has said anything of mains power here.")
