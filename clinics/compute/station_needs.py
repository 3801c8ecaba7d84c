"""What a station must bring: minutes of battery, room on the card, and a list to tick.

A recording of m minutes at b Mbit/s has m * 60 * b / 8 megabytes; megabits, gigabytes and a
card's printed size are decimal. Reserves are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from clinics.compute.checks import Errors, raise_if_any, within
from clinics.compute.errors import Said
from clinics.compute.errors import say as _
from clinics.compute.geometry import DECK, START_SIDE, TURN_WINDOW, UNDERWATER

BEFORE_MIN, AFTER_MIN = 10.0, 5.0  # the camera runs before and after: common practice, no source
CARD_RESERVE = 1.25  # bit rates are averages, and splashing water costs more than a wall
# Batteries age, cold takes from them (a maker's manual says so of anything below 10 °C), and
# focusing and a lit screen take more than the printed minutes allow for.
BATTERY_RESERVE = 1.5
FAT32_MOST_BYTES = 2**32 - 1  # a file on a card up to 32 GB, or that a camera keeps below it


@dataclass(frozen=True)
class BitRate:
    """A recording mode. `source`: where the figure is from."""

    key: str
    words: Said
    mbit_per_s: float
    source: str


_MANUAL = "a consumer camcorder's manual, page on recording modes"
BIT_RATES: tuple[BitRate, ...] = (
    BitRate("1080i", _("1080i, a consumer camera's usual setting"), 17.0, f"measured; {_MANUAL}"),
    BitRate("1080i-best", _("1080i, the best setting"), 24.0, _MANUAL),
    BitRate("1080p60", _("1080p at 50 or 60 frames per second"), 28.0, _MANUAL),
    BitRate("2160p60", _("2160p (4K) at 50 or 60 frames per second"), 150.0, "from memory"),
    BitRate("webcam", _("a webcam or phone through a computer, 1080p"), 8.0, "from memory"),
)


@dataclass(frozen=True)
class Needs:
    """`minutes` are recorded; `card_gb` (decimal) and `battery_min` have their reserves in;
    `files` is how many a camera with FAT32's limit makes of it, for who brings them in."""

    minutes: float
    card_gb: float
    files: int
    battery_min: float


class Thing(StrEnum):
    CARD = "card"  # in GB
    BATTERY = "battery"  # in minutes


class Enough(StrEnum):
    ENOUGH = "enough"
    SHORT = "short"
    NOT_SAID = "not-said"


@dataclass(frozen=True)
class Supply:
    """What is needed of a thing, in its unit, against what one piece gives. `short` is 0 unless
    it falls short; `pieces` is how many such would do, 0 if nobody said what one gives."""

    thing: Thing
    state: Enough
    needed: float
    given: float | None
    short: float
    pieces: int


def recorded_min(
    pool_min: float, *, before_min: float = BEFORE_MIN, after_min: float = AFTER_MIN
) -> float:
    """Minutes that a camera runs which is started once and left running.

    >>> recorded_min(60.0)
    75.0
    """
    return pool_min + before_min + after_min


def size_gb(minutes: float, mbit_per_s: float) -> float:
    """
    >>> size_gb(60.0, 17.0)
    7.65
    """
    return minutes * 60 * mbit_per_s / 8000


def files_of(minutes: float, mbit_per_s: float, *, takes: int = 1) -> int:
    """How many files a camera makes that begins a new one at FAT32's limit; `takes`: how often
    it is started anew (a start camera: once for each lane group), in equal parts.

    >>> files_of(60.0, 17.0), files_of(60.0, 17.0, takes=7)
    (2, 7)
    """
    each_bytes = size_gb(minutes / takes, mbit_per_s) * 1e9
    return takes * math.ceil(each_bytes / FAT32_MOST_BYTES)


def needs(
    *,
    minutes: float,
    mbit_per_s: float,
    takes: int = 1,
    card_reserve: float = CARD_RESERVE,
    battery_reserve: float = BATTERY_RESERVE,
) -> Needs:
    """What so many recorded minutes need. BadInput: a number that cannot be meant."""
    errors: Errors = []
    within(minutes, 1, 1440, "minutes", errors)
    within(mbit_per_s, 0.5, 1000, "mbit_per_s", errors)
    within(takes, 1, 500, "takes", errors)
    within(card_reserve, 1, 10, "card_reserve", errors)
    within(battery_reserve, 1, 10, "battery_reserve", errors)
    raise_if_any(errors)
    return Needs(
        minutes=minutes,
        card_gb=size_gb(minutes, mbit_per_s) * card_reserve,
        files=files_of(minutes, mbit_per_s, takes=takes),
        battery_min=minutes * battery_reserve,
    )


def supplies(
    need: Needs, *, card_gb: float | None = None, battery_min: float | None = None
) -> tuple[Supply, Supply]:
    """Card and battery that somebody means to bring against what is needed. None: not said.

    >>> card, battery = supplies(needs(minutes=60.0, mbit_per_s=17.0), card_gb=8, battery_min=45)
    >>> card.state.value, round(card.short, 2), battery.state.value, battery.pieces
    ('short', 1.56, 'short', 2)
    """
    return (
        _supply(Thing.CARD, need.card_gb, card_gb),
        _supply(Thing.BATTERY, need.battery_min, battery_min),
    )


def _supply(thing: Thing, needed: float, given: float | None) -> Supply:
    if given is None or not given > 0:
        return Supply(thing, Enough.NOT_SAID, needed, None, 0.0, 0)
    short = max(needed - given, 0.0)
    state = Enough.SHORT if short else Enough.ENOUGH
    return Supply(thing, state, needed, given, short, math.ceil(needed / given))


def marker_places_m(course_m: float) -> tuple[float, ...]:
    """Where own markers stand on the deck, from the start wall: 5, 10, 15 and 25 m, and the last
    10 and 5 m before the far wall.

    >>> marker_places_m(25.0)
    (5.0, 10.0, 15.0, 20.0)
    """
    places = {5.0, 10.0, 15.0, 25.0, course_m - 10, course_m - 5}
    return tuple(sorted(place for place in places if 0 < place < course_m))


@dataclass(frozen=True)
class KitItem:
    """A line to tick. `key` stays what it is, so that a tick can be kept. A caution is nothing
    to pack: it is to be read, and ticked as read."""

    key: str
    words: Said
    why: Said | None = None
    caution: bool = False


_EVERYWHERE = (
    KitItem("camera", _("Camera, clock set, at its largest picture rate")),
    KitItem("battery", _("Battery, full")),
    KitItem("spare-battery", _("Spare battery, full"), _("kept warm in a pocket if it is cold")),
    KitItem("card", _("Card, empty"), _("wiped only once what was on it is in")),
    KitItem("spare-card", _("Spare card, empty")),
    KitItem("lens-cloth", _("Lens cloth and a dry towel"), _("warm wet air mists a cold lens")),
    KitItem(
        "tape-measure",
        _("Tape measure, 30 m or longer"),
        _("to measure where the camera stands; sound needs that within half a metre"),
    ),
    KitItem(
        "markers",
        _("Own deck markers, placed with the tape measure"),
        _("a pool's own marks may be elsewhere than they say"),
    ),
    KitItem("plan", _("This plan, printed, with the station's place and windows")),
    KitItem(
        "battery-only",
        _("Camera runs from its battery: chargers and mains leads stay away from the pool"),
        _("wet skin and trailing cables; agree with the pool's manager what may be plugged in"),
        caution=True,
    ),
)
_TRIPOD = KitItem("tripod", _("Tripod or clamp, with something heavy to hang from it"))
_OF_KIND: dict[str, tuple[KitItem, ...]] = {
    START_SIDE: (
        _TRIPOD,
        KitItem(
            "number-cards",
            _("Number cards, large and matt, one for each swimmer"),
            _("held up to this camera before each start: they say who it is"),
        ),
        KitItem("start-list", _("Running order on paper, and a waterproof pen")),
    ),
    UNDERWATER: (
        KitItem("housing", _("Underwater housing, tried without the camera first")),
        KitItem(
            "o-ring",
            _("O-ring looked at: no hair, no sand, greased as its maker says"),
            _("and a spare one"),
        ),
        KitItem(
            "fixed-mount",
            _("Fixed mount: on the wall, the ladder or the bottom"),
            _("preferred: nobody has to stay under water for the picture"),
        ),
        KitItem("desiccant", _("Drying bags in the housing"), _("else its port mists inside")),
        KitItem("lanyard", _("Short lanyard on the mount"), _("no loop, no line across a lane")),
        KitItem(
            "mount-weights",
            _("Weights, if any, are on the mount and never on a person"),
            _("ballast on a person keeps down whoever faints under water"),
            caution=True,
        ),
        KitItem(
            "watcher",
            _("If somebody holds the camera: never alone, and one person who only watches"),
            _("up to breathe, an agreed longest time, nobody for the whole hour"),
            caution=True,
        ),
    ),
    TURN_WINDOW: (
        _TRIPOD,
        KitItem("window-cloth", _("Cloth and water for the window"), _("cleaned on the dry side")),
        KitItem(
            "dark-cloth",
            _("Dark cloth over camera and window"),
            _("keeps reflections of the room out of the picture"),
        ),
        KitItem("long-run", _("Card and battery for one long recording"), _("it is not stopped")),
    ),
    DECK: (
        KitItem("monopod", _("Tripod to stand, or monopod to walk along with")),
        KitItem(
            "clear-way",
            _("The way along the deck walked once: wet, free of bags, clear of who climbs out"),
            _("who walks along looks at the picture and not at the deck"),
            caution=True,
        ),
    ),
}


def kit(kind: str) -> tuple[KitItem, ...]:
    """What a station of this kind brings, things first and cautions last.

    >>> [item.key for item in kit("underwater") if item.caution]
    ['battery-only', 'mount-weights', 'watcher']
    """
    items = _EVERYWHERE + _OF_KIND[kind]
    return tuple(sorted(items, key=lambda item: item.caution))
