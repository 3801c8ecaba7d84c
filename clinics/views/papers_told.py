"""What stands on papers, in words and places."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.actions.papers import PostLine
from clinics.actions.papers_stations import StationCard, StationCards
from clinics.actions.people_at_posts_words import POSTS
from clinics.compute.number_cards import ONE, TWO, Layout, Seen, numeral_mm, proposed, seen, type_mm
from clinics.compute.plan_drawing import PlanDrawing
from clinics.compute.posts import Post
from clinics.compute.sight import field_width_m
from clinics.compute.station_needs import Enough, KitItem, Supply, Thing
from clinics.models import Duty
from clinics.views.words import said

Cameras = Sequence[tuple[float, float]]  # metres to the card, angle of view

MARGIN_MM, BAR_GAP_MM, PRINT_MM = 12.0, 6.0, 3.4  # the bar is 5 mm high
MOST_PASSES, MOST_LETTERS = 4, 60  # with more of them a card's drawing gives way
PASSES = {
    "start": gettext_lazy("start"),
    "turn": gettext_lazy("turn"),
    "touch": gettext_lazy("touch"),
    "by": gettext_lazy("goes by"),
    "along": gettext_lazy("from here to the end of the go"),
}

# --- number cards -------------------------------------------------------------------------------


@dataclass(frozen=True)
class CardsSeen:
    """How the start camera that sees them least well reads the cards of the layout proposed, and
    of the other one."""

    layout: Layout
    seen: Seen
    each: dict[str, Seen]


def cards_seen(numbers: Sequence[int], cameras: Cameras) -> CardsSeen | None:
    if not numbers:
        return None
    distance_m, angle_deg = max(
        cameras, key=lambda one: field_width_m(distance_m=one[0], angle_deg=one[1])
    )
    each = {
        layout.key: seen(numbers, layout, distance_m=distance_m, angle_deg=angle_deg)
        for layout in (TWO, ONE)
    }
    layout = proposed(numbers, distance_m=distance_m, angle_deg=angle_deg)
    return CardsSeen(layout, each[layout.key], each)


@dataclass(frozen=True)
class Card:
    """A card's numerals and the bar under them, in mm of the card."""

    number: int
    type_mm: float
    baseline_mm: float
    bar_x_mm: float
    bar_y_mm: float
    bar_wide_mm: float
    print_y_mm: float
    below_mm: float


def pages_of(numbers: Sequence[int], layout: Layout) -> list[list[Card]]:
    cards = [_card(number, layout) for number in numbers]
    return [cards[first : first + layout.on_page] for first in range(0, len(cards), layout.on_page)]


def _card(number: int, layout: Layout) -> Card:
    high_mm = numeral_mm(number, layout)
    top_mm = MARGIN_MM + (layout.room_high_mm - high_mm) / 2
    baseline_mm = top_mm + high_mm
    bar_wide_mm = layout.room_wide_mm * 0.5
    print_y_mm = layout.high_mm - MARGIN_MM - 1.5 * PRINT_MM
    return Card(
        number=number,
        type_mm=type_mm(number, layout),
        baseline_mm=baseline_mm,
        bar_x_mm=(layout.wide_mm - bar_wide_mm) / 2,
        bar_y_mm=baseline_mm + BAR_GAP_MM,
        bar_wide_mm=bar_wide_mm,
        print_y_mm=print_y_mm,
        below_mm=print_y_mm + 1.5 * PRINT_MM,
    )


# --- stations -----------------------------------------------------------------------------------


def stations_told(cards: StationCards) -> dict[str, Any]:
    return {
        "drawing": cards.drawing,
        "view_box": _view_box(cards.drawing),
        "timetable": cards.order.timetable,
        "cards": [_station(card) for card in cards.cards],
    }


def _view_box(d: PlanDrawing) -> str:
    """Without the deck above that nobody stands on: a card's page is short."""
    highest = min([d.water.y, d.starter.y, *(mark.y - d.sizes.mark_r for mark in d.marks)])
    top = max(highest - d.sizes.mark_r, 0.0)
    return f"0 {top:.2f} {d.width:.2f} {d.height - top:.2f}"


def _station(card: StationCard) -> dict[str, Any]:
    people = sum(len(one.name) for one in card.people)
    return {
        "tight": len(card.windows) > MOST_PASSES or people > MOST_LETTERS,
        "card": card,
        "kit": [(said(line.item.words), line.tick is not None) for line in card.kit.things],
        "cautions": [cautioned(item) for item in card.cautions],
        "passes": [(one, PASSES.get(one.what, one.what)) for one in card.windows],
        "supplies": [_supply(one) for one in (card.kit.card, card.kit.battery)],
        "people": [(post_label(one.post), one.name) for one in card.people],
        "missing": [post_label(post) for post in card.missing],
        "mode": said(card.kit.bit_rate.words),
    }


def cautioned(item: KitItem) -> tuple[str, str]:
    return said(item.words), said(item.why) if item.why else ""


def _supply(one: Supply) -> str:
    """What is planned to be brought of a thing, against what is needed."""
    card = one.thing is Thing.CARD
    if one.state is Enough.NOT_SAID:
        return _("card: not said") if card else _("battery: not said")
    figures = {"given": f"{one.given:g}", "pieces": one.pieces}
    if one.state is Enough.ENOUGH:
        told = _("card: %(given)s GB, enough") if card else _("battery: %(given)s min, enough")
    elif card:
        told = _("card: %(given)s GB is too little, bring %(pieces)s")
    else:
        told = _("battery: %(given)s min is too little, bring %(pieces)s")
    return told % figures


# --- posts --------------------------------------------------------------------------------------


def post_label(post: Post) -> str:
    return said(POSTS[post])


def duty_told(duty: Duty) -> str:
    """What somebody does, with the station's name if it is one of a station."""
    label = post_label(Post(duty.kind))
    return f"{label} ({duty.station.name})" if duty.station else label


def posts_told(lines: Iterable[PostLine]) -> list[tuple[str, PostLine]]:
    return [(post_label(line.post), line) for line in lines]
