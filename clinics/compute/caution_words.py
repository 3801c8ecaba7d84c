"""The words of the cautions that stand in no kit, post or limit.

They are common practice where no source stands beside them. Nothing here says that something is
safe.
"""

from __future__ import annotations

from dataclasses import dataclass

from clinics.compute.errors import Said
from clinics.compute.errors import say as _


@dataclass(frozen=True)
class Caution:
    words: Said
    why: Said | None = None


NEVER_SAFE = _(
    "Sidelane cannot say that a start is safe. How deep the water must be and who may dive is set"
    " by the pool operator and your governing body; their rules come before this plan."
)
LIFEGUARD = _("A lifeguard watches the water. Filming or coaching is not lifeguarding.")
LANE_CLEAR = _(
    "Start the next swimmer only when the lane is clear and the person at the underwater camera"
    " has shown that they are ready and clear of the start and the turn."
)
BREATH = _(
    "Nobody holds their breath for long or again and again. Whoever films under water is never"
    " alone: one person watches them and does nothing else. A fixed mount is better."
)
BATTERIES = _(
    "Cameras at the edge run on batteries; chargers and cables stay away from the water, as the"
    " pool operator says."
)
SHORT = (NEVER_SAFE, LIFEGUARD, LANE_CLEAR, BREATH, BATTERIES)

START = (
    Caution(NEVER_SAFE),
    Caution(LIFEGUARD),
    Caution(LANE_CLEAR),
    Caution(
        _("A timetable is no leave to start"),
        _("the starter waits until the lane is clear, however late it is"),
    ),
    Caution(
        _("The depth is measured again on the day, where swimmers enter the water"),
        _("water levels change, and some floors can be moved"),
    ),
    Caution(
        _("Nothing hangs or stands in the water where swimmers enter: no camera, mount or line")
    ),
    Caution(
        _(
            "Whoever has not been taught to start head first from this height starts in the water;"
            " anybody may choose to, without giving a reason"
        )
    ),
    Caution(
        _(
            "Before the first start everybody at a post knows who the lifeguard is, how to call for"
            " help, and where the way out is"
        )
    ),
)
FIXED = (
    Caution(
        _("The mount is put up before the hour and taken down after it; nobody swims there then"),
        _("the lifeguard is told before anybody goes into the water for it"),
    ),
)
HELD = (
    Caution(
        _("Dives are shared out by whole groups: who was under water for one rests for the next"),
        _("and who has had enough says so, and is not asked why"),
    ),
    Caution(
        _("Changes of operator are between two groups, with the lane empty"),
        _("one is out of the water before the other goes in"),
    ),
    Caution(
        _(
            "Whoever is under water stays beside the swum lane, away from where swimmers enter and"
            " turn, and shows the starter that they are ready and clear"
        ),
        _("without that sign nobody starts"),
    ),
    Caution(
        _("Two signs are agreed before: come up now, and stop everything"),
        _("the watcher has nothing else in hand and can reach whoever is under water at once"),
    ),
    Caution(
        _("Breathing apparatus is diving: for whoever is licensed for it"),
        _("and only as the pool operator and the law of the place allow"),
    ),
)
DECK = (
    Caution(_("The deck is wet: walk, in shoes that grip, a step away from the edge")),
    Caution(
        _("Tripods, bags and straps leave the way free"),
        _("for the lifeguard, for who climbs out, and to the way out"),
    ),
    Caution(_("What falls into the water stays there until the lane is clear")),
)
WALKS = (Caution(_("Whoever walks along with a camera walks forwards only, and never runs")),)
MAINS = (
    Caution(
        _("Only what the pool operator allows is plugged in"),
        _("in a dry place, at an outlet with residual-current protection"),
    ),
    Caution(
        _("No cable crosses a way where people walk wet"),
        _("wet hands touch no plug, and what got wet is not plugged in again"),
    ),
    Caution(_("A battery that is swollen, hot or wet is neither used nor charged")),
)
COLD = (
    Caution(
        _("Who waits, watches or stands in the water gets cold within the hour"),
        _("a towel, dry clothes, and somebody to take the post over"),
    ),
    Caution(
        _("Whoever shivers, is dizzy or unwell stops and says so"),
        _("no swimmer has to finish a go, and nobody has to hold a post to the end"),
    ),
    Caution(_("There is water to drink: a warm hall makes thirsty before one notices")),
    Caution(_("The start signal is loud: nobody has an ear beside it")),
)
