"""Puts a pool plan together."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from types import MappingProxyType

from clinics.compute.plan_drawing import pool as parts
from clinics.compute.plan_drawing.labels import TALL, Sheet, place_label, text_width
from clinics.compute.plan_drawing.scale import MARK_R_PX, Frame, frame, rounded
from clinics.compute.plan_drawing.types import Label, Mark, PlanDrawing, Rect, Tick
from clinics.compute.sight import Pool, Stand
from clinics.compute.sight_cones import cone, lane_seen

NO_NAMES: Mapping[str, str] = MappingProxyType({})
NO_REACHES: Mapping[str, float] = MappingProxyType({})


def draw_plan(
    pool: Pool,
    stands: Sequence[Stand],
    *,
    distance_m: float,
    starter_m: tuple[float, float],
    width_px: float,
    ropes_out: Collection[int] = (),
    names: Mapping[str, str] = NO_NAMES,
    reach_m: float | None = None,
    reaches_m: Mapping[str, float] = NO_REACHES,
    flags_m: float = parts.FLAGS_M,
) -> PlanDrawing:
    """The plan for a page that shows it `width_px` wide; marks are numbered from 1 in the order
    of `stands`. `names`: labels by a stand's key, else its number. `reach_m`: how far along its
    axis a cone is drawn, else to the water's or deck's end; `reaches_m`: the same of one stand,
    by its key. Two stations at one place have their
    marks upon each other: the plan does not move anybody. ValueError as `frame`.

    >>> drawing = draw_plan(
    ...     Pool(course_m=25.0, lanes=4), [Stand("u", "underwater", 10.0, 5.0, -0.5)],
    ...     distance_m=50.0, starter_m=(0.0, -1.0), width_px=360.0)
    >>> drawing.view_box, drawing.water, [(m.number, m.x, m.y) for m in drawing.marks]
    ('0 0 40.66 27.69', Rect(x=7.83, y=7.83, width=25.0, height=10.0), [(1, 17.83, 12.83)])
    """
    places = [(stand.x_m, stand.y_m) for stand in stands]
    at = frame(pool, [*places, starter_m], width_px)
    starter, ticks = _starter(at, starter_m), parts.ticks_of(at)
    labels = _labels(at, stands, names, [starter, *_tick_boxes(at, ticks)])
    return PlanDrawing(
        width=at.width,
        height=at.height,
        left=at.left,
        top=at.left,
        sizes=at.sizes,
        deck=parts.deck_of(at),
        water=parts.water_of(at),
        start_wall=parts.across_water(at, 0.0),
        far_wall=parts.across_water(at, pool.course_m),
        blocks=parts.blocks_of(at),
        lanes=parts.lanes_of(at, ropes_out),
        ropes=parts.ropes_of(at, ropes_out),
        across=parts.lines_across(at, flags_m),
        ticks=ticks,
        starter=starter,
        climb_out=parts.climb_out_of(at, distance_m),
        arrow=parts.arrow_of(at),
        marks=tuple(
            _mark(at, number, stand, label, reaches_m.get(stand.key, reach_m))
            for number, (stand, label) in enumerate(zip(stands, labels, strict=True), start=1)
        ),
    )


def _starter(at: Frame, starter_m: tuple[float, float]) -> Rect:
    """A square around where the starter stands, as wide as a mark's radius is long."""
    (x, y), side = at.at(*starter_m), at.px(MARK_R_PX)
    return Rect(rounded(x - side / 2), rounded(y - side / 2), side, side)


def _tick_boxes(at: Frame, ticks: Iterable[Tick]) -> list[Rect]:
    """The room that the scale's figures take, each in the middle of its place."""
    small = at.sizes.small_font
    boxes = []
    for tick in ticks:
        wide = text_width(f"{tick.at_m:g} m" if tick.last else f"{tick.at_m:g}", small)
        x, y = rounded(tick.x - wide / 2), rounded(tick.label_y - small)
        boxes.append(Rect(x, y, rounded(wide), rounded(TALL * small)))
    return boxes


def _labels(
    at: Frame, stands: Sequence[Stand], names: Mapping[str, str], taken: list[Rect]
) -> list[Label | None]:
    marks = [at.at(stand.x_m, stand.y_m) for stand in stands]
    sheet = Sheet(at.width, at.height, at.sizes.font, at.sizes.mark_r, marks, taken)
    return [
        place_label(sheet, x, y, names.get(stand.key, ""), number)
        for number, (stand, (x, y)) in enumerate(zip(stands, marks, strict=True), start=1)
    ]


def _mark(at: Frame, number: int, stand: Stand, label: Label | None, reach_m: float | None) -> Mark:
    x, y = at.at(stand.x_m, stand.y_m)
    corners = cone(stand, at.pool, reach_m=reach_m).polygon
    return Mark(
        key=stand.key,
        kind=stand.kind,
        number=number,
        x=x,
        y=y,
        number_y=rounded(y + 0.35 * at.sizes.font),
        cone=parts.points(at, corners),
        seen=_seen(at, stand),
        label=label,
    )


def _seen(at: Frame, stand: Stand) -> Rect | None:
    """What is seen of the lane beyond the walls is deck, and no part of the band."""
    span, pool = lane_seen(stand, at.pool), at.pool
    if span is None:
        return None
    low_m, high_m = max(span.from_m, 0.0), min(span.to_m, pool.course_m)
    band = parts.rect_of(at, (low_m, 0.0), (high_m, pool.lane_m))
    return band if band.width > 0 else None
