"""What others have published on the least depth of water for head-first starts.

Limits differ, are meant for different things, and change. Each says who published it and where
it was read; what was only seen in somebody else's report is marked so. A limit that is missing
here may still hold where a clinic is.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from clinics.compute.errors import Said
from clinics.compute.errors import say as _

BLOCK, EDGE, WATER = "block", "edge", "water"  # as an entry says how its swimmer starts
BLOCK_M, US_BLOCK_M = 0.75, 0.762  # highest block: FINA FR 2.7; 30 inches in US rules


class Seen(StrEnum):
    """How a limit was seen by whoever wrote it down here."""

    TEXT = "text"  # in a text of the body itself, or one printed word for word
    SECONDARY = "secondary"  # in somebody else's report of it


@dataclass(frozen=True)
class Limit:
    """The least depth that a body has published for a head-first start, in metres.

    `starts`: from what it is meant for (block, edge). `height_up_to_m`: the highest block or
    edge above the water for which it is meant; None: it names none. `source` and `address`:
    where it was read.
    """

    key: str
    body: str
    depth_m: float
    applies_to: Said
    condition: Said
    source: str
    address: str
    seen: Seen
    starts: tuple[str, ...] = (BLOCK, EDGE)
    height_up_to_m: float | None = None


@dataclass(frozen=True)
class Study:
    """What was measured of starts; no limit."""

    key: str
    found: Said
    source: str
    address: str


_NEWS = "a swimming magazine's report on the proposal for the Model Aquatic Health Code"
_NEWS_AT = (
    "swimmingworldmagazine.com/news/competition-pools-could-have-new-depth-standards"
    "-for-racing-starts"
)
_AWARDS = "Swim England, Competitive Start Awards"
_AWARDS_AT = "swimming.org/learntoswim/asa-competitive-start-awards"
_AHEAD = _("6 m clear ahead, the first 5 m of it at this depth or more.")
_RLSSA = "its guideline SD1 for whoever runs a pool, of 12 December 2025"
_RLSSA_AT = "royallifesaving.com.au/subscribers/GSPO/safe-diving/sd1-recreational-diving"
_RLSS_UK_AT = "rlss.org.uk/rlss-uk-guidance-on-diving"
_CANADA = "a news report on pools that were measured anew"
_CANADA_AT = "ca.news.yahoo.com/diving-11-city-pools-temporarily-090000058.html"

LIMITS: tuple[Limit, ...] = (
    Limit(
        "red-cross",
        "American Red Cross",
        2.74,
        _("Any head-first entry"),
        _("9 ft; unless supervised and in a depth that the rules of the body concerned allow."),
        "a trade magazine that quotes the clarified recommendation",
        "aquaticsintl.com/safety/arc-releases-clarification-on-entry-depths.aspx",
        Seen.TEXT,
    ),
    Limit(
        "fina-championships",
        "FINA (World Aquatics)",
        2.0,
        _("Pools for Olympic Games and World Championships"),
        _("The whole pool; 3 m is recommended."),
        "FINA Facilities Rules 2009-2013, FR 3.3",
        "fina.org, article 366, FR 3",
        Seen.TEXT,
    ),
    Limit(
        "mahc",
        "Centers for Disease Control and Prevention",
        2.0,
        _("Racing starts in pools that are built new"),
        _("6 ft 7 in; a proposal for a model code, which becomes law only where it is adopted."),
        _NEWS,
        _NEWS_AT,
        Seen.SECONDARY,
    ),
    Limit(
        "rlssa-block",
        "Royal Life Saving Society Australia",
        2.0,
        _("Recreational diving from starting blocks"),
        _AHEAD,
        _RLSSA,
        _RLSSA_AT,
        Seen.TEXT,
        (BLOCK,),
        BLOCK_M,
    ),
    Limit(
        "rlssa-edge",
        "Royal Life Saving Society Australia",
        1.8,
        _("Recreational diving from water level; 2.0 m is called optimal"),
        _AHEAD,
        _RLSSA,
        _RLSSA_AT,
        Seen.TEXT,
        (EDGE,),
    ),
    Limit(
        "usa-teaching",
        "USA Swimming",
        1.83,
        _("Teaching racing starts, from any block or the deck"),
        _("6 ft, 1 to 5 m from the wall. The notice prints 1.84 m; another page says 5 ft."),
        "notice of 2007 to member clubs that amends rule 103.2.2",
        "teamunify.com/team/mams/page/menu/racing-starts",
        Seen.TEXT,
    ),
    Limit(
        "swim-england-new",
        "Swim England",
        1.8,
        _("A first look at how a new member starts"),
        _("Recommended to clubs, before starts in less."),
        "Swim England's questions and answers on depths, as another site keeps them",
        "regulationlectures.com/index-521.html",
        Seen.SECONDARY,
    ),
    Limit(
        "rlss-uk-teaching",
        "Royal Life Saving Society UK",
        1.8,
        _("Teaching to dive, in its own courses"),
        _("Recommended; shallow dives only."),
        "RLSS UK guidance on diving",
        _RLSS_UK_AT,
        Seen.TEXT,
    ),
    Limit(
        "rlss-uk",
        "Royal Life Saving Society UK",
        1.5,
        _("Dive entries in its own courses"),
        _("7.6 m clear ahead, from standing."),
        "RLSS UK guidance on diving",
        _RLSS_UK_AT,
        Seen.TEXT,
    ),
    Limit(
        "swim-england-award",
        "Swim England",
        1.5,
        _("Racing entries of whoever has no Competitive Start Award"),
        _("In less than this the swimmer needs the award."),
        "a county association's notice of the changed guidance",
        "swimherts.org/swim-england-update-guidance-on-minimum-permissible-pool-depth-for-racing",
        Seen.SECONDARY,
    ),
    Limit(
        "swim-england-preliminary",
        "Swim England",
        1.5,
        _("The preliminary start award, from the poolside"),
        _("At the deep end."),
        _AWARDS,
        _AWARDS_AT,
        Seen.TEXT,
        (EDGE,),
        0.38,
    ),
    Limit(
        "league-reading",
        "A league's reading of Swim England's guidance",
        1.5,
        _("Starts at the deep end"),
        _("Below 1.35 m its swimmers start in the water. It differs from the guidance itself."),
        "the league's own page",
        "m11league.org/wp/?p=973",
        Seen.SECONDARY,
    ),
    Limit(
        "swim-england",
        "Swim England",
        1.35,
        _("Racing entries, relay changes too"),
        _("Was 0.9 m before. Below 1.5 m the swimmer needs the Competitive Start Award."),
        _AWARDS,
        _AWARDS_AT,
        Seen.TEXT,
    ),
    Limit(
        "fina-minimum",
        "FINA (World Aquatics)",
        1.35,
        _("Pools with starting blocks"),
        _("From 1 m to at least 6 m from the wall."),
        "a state government's guide to the dimensions in FINA FR 2.3",
        "dlgsc.wa.gov.au/sport-and-recreation/sports-dimensions-guide/swimming",
        Seen.SECONDARY,
        (BLOCK,),
        BLOCK_M,
    ),
    Limit(
        "canada-block",
        "Swimming Canada",
        1.35,
        _("Starts from blocks"),
        _("Raised from 1.22 m after an accident."),
        _CANADA,
        _CANADA_AT,
        Seen.SECONDARY,
        (BLOCK,),
    ),
    Limit(
        "us-racing",
        "USA Swimming, NCAA, NFHS",
        1.22,
        _("Racing starts at meets that are no championships"),
        _("4 ft. A regional notice of 2003 says it of blocks alone."),
        _NEWS,
        _NEWS_AT,
        Seen.SECONDARY,
        height_up_to_m=US_BLOCK_M,
    ),
    Limit(
        "canada-edge",
        "Swimming Canada",
        1.2,
        _("Starts from the deck"),
        _("With the same change as for blocks."),
        _CANADA,
        _CANADA_AT,
        Seen.SECONDARY,
        (EDGE,),
    ),
)

STUDIES: tuple[Study, ...] = (
    Study(
        "older-deeper",
        _("471 starts from blocks of 0.76 m into 1.22 m: older swimmers went deeper and faster."),
        "Cornett 2010",
        "core.ac.uk/display/52363",
    ),
    Study(
        "deck-as-deep",
        _("From 0.21, 0.46 and 0.76 m: a lower start is not a shallower one, nor is the deck."),
        "a study of 2011 on starting height",
        "acemap.info/paper/89449781",
    ),
)
