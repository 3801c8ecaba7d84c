"""Shares of body mass, and where on its segment each share's centre lies.

De Leva 1996, J Biomech 29:1223-1230, table 4 (adjusted from Zatsiorsky's measurements of young
adults), as in the copies BMClab/BMC data/BSPmale_ZdeLeva.txt and BSPfemale_ZdeLeva.txt, which two
other copies agree with; the paper itself was not read. Winter/Dempster: as in BMClab/BMC
data/BSP_DempsterWinter.txt. Both describe bodies that are not those of most adult swimmers.

`share` is per one limb; `along` is the centre's place from the first named point to the second.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class At(StrEnum):
    """Points of the body that can be marked; a limb's once for each side."""

    VERTEX = "vertex"  # top of the head
    NECK = "neck"  # cervicale: the spine of the seventh neck vertebra
    SHOULDERS = "shoulders"  # midway between the shoulder joints
    HIPS = "hips"  # midway between the hip joints
    EAR = "ear"
    SHOULDER = "shoulder"
    ELBOW = "elbow"
    WRIST = "wrist"
    FINGERTIP = "fingertip"  # of the third finger
    KNUCKLE = "knuckle"
    HIP = "hip"
    KNEE = "knee"
    ANKLE = "ankle"
    HEEL = "heel"
    TOE = "toe"


class Side(StrEnum):
    LEFT = "left"
    RIGHT = "right"


IN_THE_MIDDLE = (At.VERTEX, At.NECK, At.SHOULDERS, At.HIPS, At.EAR)


@dataclass(frozen=True)
class Part:
    """A segment: `share` of the body's mass in parts of 1, centre at `along` from `first` to
    `last`. `two`: there is one on each side."""

    name: str
    first: At
    last: At
    share: float
    along: float
    two: bool


def _parts(rows: list[tuple[str, At, At, float, float, bool]]) -> tuple[Part, ...]:
    return tuple(Part(*row) for row in rows)


DE_LEVA_MALE = _parts(
    [
        ("head", At.VERTEX, At.NECK, 0.0694, 0.5002, False),
        ("trunk", At.SHOULDERS, At.HIPS, 0.4346, 0.4310, False),
        ("upper arm", At.SHOULDER, At.ELBOW, 0.0271, 0.5772, True),
        ("forearm", At.ELBOW, At.WRIST, 0.0162, 0.4574, True),
        ("hand", At.WRIST, At.FINGERTIP, 0.0061, 0.3624, True),
        ("thigh", At.HIP, At.KNEE, 0.1416, 0.4095, True),
        ("shank", At.KNEE, At.ANKLE, 0.0433, 0.4395, True),
        ("foot", At.HEEL, At.TOE, 0.0137, 0.4415, True),
    ]
)
DE_LEVA_FEMALE = _parts(
    [
        ("head", At.VERTEX, At.NECK, 0.0668, 0.4841, False),
        ("trunk", At.SHOULDERS, At.HIPS, 0.4257, 0.3782, False),
        ("upper arm", At.SHOULDER, At.ELBOW, 0.0255, 0.5754, True),
        ("forearm", At.ELBOW, At.WRIST, 0.0138, 0.4559, True),
        ("hand", At.WRIST, At.FINGERTIP, 0.0056, 0.3427, True),
        ("thigh", At.HIP, At.KNEE, 0.1478, 0.3612, True),
        ("shank", At.KNEE, At.ANKLE, 0.0481, 0.4352, True),
        ("foot", At.HEEL, At.TOE, 0.0129, 0.4014, True),
    ]
)
DE_LEVA_MEAN = tuple(
    Part(m.name, m.first, m.last, (m.share + f.share) / 2, (m.along + f.along) / 2, m.two)
    for m, f in zip(DE_LEVA_MALE, DE_LEVA_FEMALE, strict=True)
)
WINTER = _parts(
    [
        ("trunk, head and neck", At.HIPS, At.SHOULDERS, 0.578, 0.66, False),
        ("upper arm", At.SHOULDER, At.ELBOW, 0.028, 0.436, True),
        ("forearm and hand", At.ELBOW, At.WRIST, 0.022, 0.682, True),
        ("thigh", At.HIP, At.KNEE, 0.100, 0.433, True),
        ("shank", At.KNEE, At.ANKLE, 0.0465, 0.433, True),
        ("foot", At.ANKLE, At.TOE, 0.0145, 0.50, True),
    ]
)
"""Without head and hand as parts of their own. In Winter the foot reaches from the outer ankle to
the head of the second metatarsal, and the trunk from the greater trochanter to the shoulder joint;
here the toe and the middle of the hips stand for these."""

TABLES = {
    "de-leva-male": DE_LEVA_MALE,
    "de-leva-female": DE_LEVA_FEMALE,
    "de-leva-mean": DE_LEVA_MEAN,
    "winter": WINTER,
}
