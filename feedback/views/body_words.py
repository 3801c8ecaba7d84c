"""What points of the body, angles between them and the centre of mass are called on screen."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.formats import number_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.utils.translation import pgettext_lazy as p_

from feedback.compute.measuring.angles import Turned
from feedback.compute.measuring.body.centre import Missing
from feedback.compute.measuring.body.figures import TO_SURFACE, Angle, Kind
from feedback.compute.measuring.body.points import LEVEL, PLACES, For, name_of
from feedback.compute.measuring.body.tables import At, Side
from feedback.compute.measuring.measure import Unit
from feedback.compute.measuring.uncertain import Quantity
from feedback.views.measure_words import too_unsure, with_plus_minus, with_unit

TOO_WIDE_DEG = 30.0  # a ± of more says nothing of a limb (our choice)
ROUND_TO_DEG, ROUGH_DEG = 5, 10  # for swimmers, by how wide the ± is

# the point, and where on the body it is
POINTS: dict[At, tuple[Promise, Promise]] = {
    At.VERTEX: (
        gettext_lazy("top of the head"),
        gettext_lazy("the crown of the cap"),
    ),
    At.NECK: (
        gettext_lazy("neck"),
        gettext_lazy("at the back, where it meets the shoulders"),
    ),
    At.SHOULDERS: (
        gettext_lazy("middle of the shoulders"),
        gettext_lazy("midway between both shoulder joints, inside the trunk"),
    ),
    At.HIPS: (
        gettext_lazy("middle of the hips"),
        gettext_lazy("midway between both hip joints, inside the trunk"),
    ),
    At.EAR: (gettext_lazy("ear"), gettext_lazy("its opening")),
    At.SHOULDER: (
        p_("a joint", "shoulder"),
        gettext_lazy("the middle of the joint, about which the arm turns"),
    ),
    At.ELBOW: (p_("a joint", "elbow"), gettext_lazy("where the arm bends")),
    At.WRIST: (p_("a joint", "wrist"), gettext_lazy("where the hand bends")),
    At.FINGERTIP: (gettext_lazy("fingertip"), gettext_lazy("of the longest finger")),
    At.KNUCKLE: (gettext_lazy("knuckle"), gettext_lazy("of the middle finger")),
    At.HIP: (
        p_("a joint", "hip"),
        gettext_lazy("the middle of the joint, about which the leg turns"),
    ),
    At.KNEE: (p_("a joint", "knee"), gettext_lazy("where the leg bends")),
    At.ANKLE: (p_("a joint", "ankle"), gettext_lazy("the bone that stands out")),
    At.HEEL: (gettext_lazy("heel"), gettext_lazy("its furthest point")),
    At.TOE: (gettext_lazy("toe"), gettext_lazy("the tip of the longest one")),
}
LEVELS = {
    LEVEL[0]: gettext_lazy("level line, one end"),
    LEVEL[1]: gettext_lazy("level line, other end"),
}
WHERE_LEVEL = gettext_lazy("on the water's surface, or on a line that is level")
SETS: dict[For, Promise] = {
    For.ENTRY: gettext_lazy("entry"),
    For.TRUNK: gettext_lazy("trunk and head"),
    For.ARM: gettext_lazy("one arm"),
    For.LEG: gettext_lazy("one leg"),
    For.WHOLE: gettext_lazy("whole body"),
}
_OF_SIDE = {
    Side.LEFT: p_("a point of the body", "%(point)s, left"),
    Side.RIGHT: p_("a point of the body", "%(point)s, right"),
}
PARTS = {
    "head": gettext_lazy("head"),
    "trunk": gettext_lazy("trunk"),
    "upper arm": gettext_lazy("upper arm"),
    "forearm": gettext_lazy("forearm"),
    "hand": gettext_lazy("hand"),
    "thigh": gettext_lazy("thigh"),
    "shank": gettext_lazy("shank"),
    "foot": gettext_lazy("foot"),
    "trunk, head and neck": gettext_lazy("trunk, head and neck"),
    "forearm and hand": gettext_lazy("forearm and hand"),
}
# the name, what exactly it is, where the definition is from
PRACTICE = gettext_lazy("common practice, no source")
ENTRY = "van Dijk et al. 2020, PLoS One (PMC7598512)"
ANGLES: dict[Kind, tuple[Promise, Promise, Promise | str]] = {
    Kind.WRIST: (
        p_("an angle", "Wrist"),
        gettext_lazy("between forearm and hand; 180° is straight"),
        PRACTICE,
    ),
    Kind.ELBOW: (
        p_("an angle", "Elbow"),
        gettext_lazy("between upper arm and forearm; 180° is straight"),
        PRACTICE,
    ),
    Kind.SHOULDER: (
        p_("an angle", "Shoulder"),
        gettext_lazy("between trunk and upper arm; 180° is stretched ahead"),
        PRACTICE,
    ),
    Kind.HIP: (
        p_("an angle", "Hip"),
        gettext_lazy("between trunk and thigh; 180° is straight"),
        PRACTICE,
    ),
    Kind.KNEE: (
        p_("an angle", "Knee"),
        gettext_lazy("between thigh and shank; 180° is straight"),
        PRACTICE,
    ),
    Kind.ANKLE: (
        p_("an angle", "Ankle"),
        gettext_lazy("between shank and foot; larger: the foot is more pointed"),
        PRACTICE,
    ),
    Kind.TRUNK: (
        gettext_lazy("Trunk to the surface"),
        gettext_lazy("from the hips to the shoulders; positive: the shoulders lower"),
        PRACTICE,
    ),
    Kind.HEAD: (
        gettext_lazy("Head to trunk"),
        gettext_lazy(
            "between the head's line, from the neck to its top, and the trunk's; 0° is in line"
        ),
        PRACTICE,
    ),
    Kind.ENTRY_HANDS: (
        gettext_lazy("Body line, hands to hips"),
        gettext_lazy(
            "the line from the hips to the hands, to the surface; positive: the hands lower. At "
            "the entry it is the entry angle"
        ),
        ENTRY,
    ),
    Kind.ENTRY_HEAD: (
        gettext_lazy("Body line, head to hips"),
        gettext_lazy(
            "the line from the hips to the top of the head, to the surface; positive: the head "
            "lower. At the entry it is the entry angle"
        ),
        ENTRY,
    ),
}
_LOWER = {
    Kind.TRUNK: (
        gettext_lazy("about %(angle)s to the surface as seen, the shoulders lower"),
        gettext_lazy("about %(angle)s to the surface as seen, the hips lower"),
    ),
    Kind.ENTRY_HANDS: (
        gettext_lazy("about %(angle)s to the surface as seen, the hands lower"),
        gettext_lazy("about %(angle)s to the surface as seen, the hips lower"),
    ),
    Kind.ENTRY_HEAD: (
        gettext_lazy("about %(angle)s to the surface as seen, the head lower"),
        gettext_lazy("about %(angle)s to the surface as seen, the hips lower"),
    ),
}


def point_words(name: str) -> str:
    """ "elbow, left"; what is no point keeps its name."""
    if name in LEVELS:
        return str(LEVELS[name])
    if name not in PLACES:
        return name
    at, side = PLACES[name]
    return str(POINTS[at][0]) if side is None else _OF_SIDE[side] % {"point": POINTS[at][0]}


def where_words(name: str) -> str:
    return str(WHERE_LEVEL if name in LEVELS else POINTS[PLACES[name][0]][1])


def angle_name(angle: Angle) -> str:
    name = str(ANGLES[angle.kind][0])
    return name if angle.side is None else _OF_SIDE[angle.side] % {"point": name}


def angle_figure(quantity: Quantity) -> str:
    """With its ±: an angle near 0 is as good as any, so that its ± is not held against it."""
    wide = quantity.half_width_95 > TOO_WIDE_DEG
    return too_unsure() if wide else with_plus_minus(quantity, Unit.DEG)


def angle_plain(angle: Angle) -> str:
    """For swimmers, in steps that the ± leaves sure."""
    half = angle.quantity.half_width_95
    if half > TOO_WIDE_DEG:
        return too_unsure()
    step = ROUGH_DEG if half > ROUND_TO_DEG else ROUND_TO_DEG
    rounded = step * round(angle.quantity.value / step)
    told = with_unit(number_format(abs(rounded), 0), Unit.DEG)
    if angle.kind not in TO_SURFACE:
        return _("about %(angle)s as seen") % {"angle": told}
    if rounded == 0:
        return _("about level with the surface as seen")
    return str(_LOWER[angle.kind][0 if rounded > 0 else 1]) % {"angle": told}


def turn_words(turn: Turned) -> str:
    """ "126° to 131°"."""
    least, most = (
        with_unit(number_format(round(deg), 0), Unit.DEG) for deg in (turn.least_deg, turn.most_deg)
    )
    return least if least == most else _("%(least)s to %(most)s") % {"least": least, "most": most}


def from_words(angle: Angle) -> str:
    return _("From: %(points)s.") % {
        "points": "; ".join(point_words(name_of(place)) for place in angle.of)
    }


def share_words(share: float) -> str:
    return with_unit(number_format(round(100 * share), 0), Unit.PERCENT)


def missing_words(missing: Iterable[Missing]) -> list[str]:
    """ "forearm, left (no wrist)"; a middle can be set by itself, or both of its sides."""
    told = []
    for one in missing:
        part = str(PARTS[one.part])
        if one.side is not None:
            part = _OF_SIDE[one.side] % {"point": part}
        points = ", ".join(_missing_point(at) for at in one.points)
        told.append(_("%(part)s (not set: %(points)s)") % {"part": part, "points": points})
    return told


def _missing_point(at: At) -> str:
    both = {
        At.SHOULDERS: gettext_lazy("middle of the shoulders, or both shoulders"),
        At.HIPS: gettext_lazy("middle of the hips, or both hips"),
    }
    return str(both.get(at, POINTS[at][0]))


def setup_names() -> dict[str, dict[str, str]]:
    """Every point that is in a set: its words, and where it is."""
    names = [*PLACES, *LEVELS]
    return {name: {"words": point_words(name), "where": where_words(name)} for name in names}
