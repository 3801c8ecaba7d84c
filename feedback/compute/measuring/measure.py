"""What a measure is, and what each is called, means and rests on."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from clinics.compute.errors import Said
from clinics.compute.errors import say as _
from feedback.compute.measuring.uncertain import Quantity


class Unit(StrEnum):
    S = "s"
    M = "m"
    M_PER_S = "m/s"
    PER_MIN = "/min"
    PER_S = "Hz"
    M2_PER_S = "m²/s"
    PERCENT = "%"
    DEG = "°"
    COUNT = ""


@dataclass(frozen=True)
class Definition:
    """`name` in a list of measures, `says` what exactly is measured and of which body part,
    `source` where the definition is from."""

    key: str
    name: Said
    says: Said
    unit: Unit
    source: str


@dataclass(frozen=True)
class Measure:
    """`key` of its definition; `number`: of the length or wall, 0 for the whole swim; `at_m`:
    distance from the start that it is about, None if none. `marks`: keys of what it is from."""

    key: str
    quantity: Quantity
    number: int = 0
    at_m: float | None = None
    marks: tuple[str, ...] = ()

    @property
    def definition(self) -> Definition:
        return DEFINITIONS[self.key]

    @property
    def unit(self) -> Unit:
        return self.definition.unit


_PRACTICE = "common practice, no source"
_RATE = "Craig and Pendergast 1979, Med Sci Sports 11:278 (abstract, pubmed 522640)"
_TURN = "R. Haljand, competition analysis of the 2000 European short course championships, swim.ee"
_BLOCK = "Honda et al. 2010, Biomechanics and Medicine in Swimming XI"
_FLIGHT = (
    "air distance: Int J Exerc Sci Conf Proc 8(3):7 (digitalcommons.wku.edu/ijesab/vol8/iss3/7)"
)
_INDEX = "Costill et al. 1985, Int J Sports Med 6:266 (abstract)"


def _all(*definitions: Definition) -> dict[str, Definition]:
    return {one.key: one for one in definitions}


DEFINITIONS: dict[str, Definition] = _all(
    # the start
    Definition(
        "reaction-time",
        _("Reaction time"),
        _("from the start signal to the first movement that can be seen"),
        Unit.S,
        _BLOCK,
    ),
    Definition(
        "block-time",
        _("Block time"),
        _("from the start signal until the feet leave the block; it holds the reaction time"),
        Unit.S,
        _BLOCK,
    ),
    Definition(
        "movement-time",
        _("Movement time"),
        _("from the first movement until the feet leave the block"),
        Unit.S,
        _BLOCK,
    ),
    Definition(
        "flight-time",
        _("Flight time"),
        _("from the feet leaving the block to whatever of the body enters the water first"),
        Unit.S,
        _BLOCK,
    ),
    Definition(
        "flight-distance",
        _("Flight distance"),
        _(
            "from the start wall to where whatever of the body enters the water first, in a dive "
            "the hands; it is not the way of the centre of mass"
        ),
        Unit.M,
        _FLIGHT,
    ),
    Definition(
        "entry-time",
        _("Entry"),
        _("from the first entry until the whole body is under water"),
        Unit.S,
        _PRACTICE,
    ),
    Definition(
        "time-to-entry",
        _("Time to entry"),
        _("from the start signal to the first entry"),
        Unit.S,
        _PRACTICE,
    ),
    # under water
    Definition(
        "underwater-time",
        _("Under water"),
        _(
            "from the first entry, or from the feet leaving the wall, until the head breaks "
            "the surface"
        ),
        Unit.S,
        _PRACTICE,
    ),
    Definition(
        "underwater-distance",
        _("Distance under water"),
        _(
            "from the wall to where the head breaks the surface; from a place in the picture half "
            "a frame of the way on is taken off"
        ),
        Unit.M,
        _PRACTICE,
    ),
    Definition(
        "breakout-time",
        _("Breakout"),
        _("from the start signal until the head breaks the surface"),
        Unit.S,
        _PRACTICE,
    ),
    # on the way
    Definition(
        "time-to-distance",
        _("Time to distance"),
        _("from the start signal until the head is at this distance"),
        Unit.S,
        _PRACTICE,
    ),
    Definition(
        "speed-to-distance",
        _("Speed to distance"),
        _("the distance divided by the time from the start signal until the head is there"),
        Unit.M_PER_S,
        _PRACTICE,
    ),
    Definition(
        "segment-speed",
        _("Speed of a segment"),
        _("from one distance to the next, head to head"),
        Unit.M_PER_S,
        _PRACTICE,
    ),
    Definition(
        "split",
        _("Split"),
        _("from the start signal to the first touch of the wall"),
        Unit.S,
        _PRACTICE,
    ),
    Definition(
        "length-time",
        _("Length"),
        _("from one wall's first touch to the next wall's"),
        Unit.S,
        _PRACTICE,
    ),
    Definition(
        "length-speed",
        _("Speed of a length"),
        _(
            "the course divided by the time from touch to touch; it holds a turn and what is "
            "under water"
        ),
        Unit.M_PER_S,
        _PRACTICE,
    ),
    Definition(
        "fade",
        _("Fade"),
        _(
            "how much slower the last segment of swimming was than the first, in per cent of "
            "the first"
        ),
        Unit.PERCENT,
        _PRACTICE,
    ),
    # strokes
    Definition(
        "stroke-rate",
        _("Stroke rate"),
        _(
            "cycles per minute. A cycle is from a hand's entry to the next entry of the same hand; "
            "in breaststroke and butterfly from one body cycle to the next. The first and the last "
            "stroke of a length are left out where five or more are marked"
        ),
        Unit.PER_MIN,
        _RATE,
    ),
    Definition(
        "stroke-count",
        _("Strokes"),
        _(
            "hand entries marked in this length, both hands counted; in breaststroke and "
            "butterfly body cycles"
        ),
        Unit.COUNT,
        _PRACTICE,
    ),
    Definition(
        "stroke-length",
        _("Stroke length"),
        _("metres per cycle: speed of swimming divided by stroke rate, in the same length"),
        Unit.M,
        _RATE,
    ),
    Definition(
        "swimming-speed",
        _("Speed of swimming"),
        _(
            "head to head between two distances of one length, after the breakout and before "
            "the wall"
        ),
        Unit.M_PER_S,
        _PRACTICE,
    ),
    Definition(
        "stroke-index",
        _("Stroke index"),
        _("speed of swimming times stroke length"),
        Unit.M2_PER_S,
        _INDEX,
    ),
    # turns
    Definition(
        "turn-time",
        _("Turn"),
        _("head to head, from so far before the wall to so far after it"),
        Unit.S,
        _TURN,
    ),
    Definition(
        "turn-in",
        _("Into the wall"),
        _("from the head so far before the wall to the first touch"),
        Unit.S,
        _TURN,
    ),
    Definition(
        "turn-rotation",
        _("Rotation"),
        _("open turn: from the hands touching the wall to the feet touching it"),
        Unit.S,
        _PRACTICE,
    ),
    Definition(
        "turn-contact",
        _("Wall contact"),
        _("from the feet touching the wall to the feet leaving it"),
        Unit.S,
        _PRACTICE,
    ),
    Definition(
        "turn-wall",
        _("At the wall"),
        _("from the first touch, hands or feet, to the feet leaving the wall"),
        Unit.S,
        _PRACTICE,
    ),
    Definition(
        "push-off-time",
        _("Push-off"),
        _("from the feet leaving the wall until the head is 5 m after it"),
        Unit.S,
        _PRACTICE,
    ),
    Definition(
        "turn-out",
        _("Out of the wall"),
        _("from the feet leaving the wall until the head is so far after it"),
        Unit.S,
        _TURN,
    ),
)
