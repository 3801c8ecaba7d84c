"""Measures over swims, along a swim and the parts of its time, as pages draw and list them."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.models import Swim
from clinics.views.words import said
from feedback.actions.progress import Alike, Series, Told
from feedback.compute.measuring import plots
from feedback.compute.measuring.measure import DEFINITIONS, Measure, Unit
from feedback.compute.measuring.time_spent import time_spent
from feedback.compute.measuring.uncertain import Quantity
from feedback.views.measure_words import metres, name_of, told, with_plus_minus, with_unit
from feedback.views.progress_words import (
    Against,
    against_before,
    kind_words,
    part_words,
    swim_in_short,
    swim_words,
)

NAMED_LENGTHS = 6  # that fit below a picture on a phone
ALONG = ("stroke-rate", "stroke-length", "segment-speed")


@dataclass(frozen=True)
class Row:
    """Of a picture's table. `swim` leads to its page; none: the row is about the same swim."""

    name: str
    value: str
    swim: uuid.UUID | None = None
    number: int = 0  # the part of the bar that it is about


@dataclass(frozen=True)
class Picture:
    """`ticks`: place, label. `names`: place, label. `now`: which point is ringed."""

    title: str
    says: str
    chart: plots.Chart | None
    ticks: list[tuple[float, str]]
    names: list[tuple[float, str]]
    now: int | None
    rows: list[Row]
    head: str
    against: Against | None = None
    left_out: str = ""


@dataclass(frozen=True)
class BarPart:
    share: plots.Share
    number: int
    shows_number: bool


@dataclass(frozen=True)
class Bar:
    whole: str
    until: str
    parts: list[BarPart]
    rows: list[Row]


@dataclass(frozen=True)
class OneSwim:
    swim: Swim
    name: str
    along: list[Picture]
    bar: Bar | None


@dataclass(frozen=True)
class Kind:
    """Swims alike. `once`: what only one of them has."""

    title: str
    count: int
    differences: list[str]
    same: list[str]  # names of what could not be told apart
    pictures: list[Picture]
    once: list[Row]
    one: OneSwim


def kind_of(alike: Alike, now: Swim | None = None) -> Kind:
    """`now`: the swim that the page is about; without, the newest."""
    shown = next((one for one in alike.swims if now and one.swim.pk == now.pk), alike.swims[-1])
    several = [series for series in alike.series if len(series.points) > 1]
    pictures = [_over_swims(series, shown.swim) for series in several]
    single = [one.newest for one in alike.series if len(one.points) == 1]
    return Kind(
        title=kind_words(alike),
        count=len(alike.swims),
        differences=[p.against.sentence for p in pictures if p.against and p.against.differs],
        same=[p.title for p in pictures if p.against and not p.against.differs],
        pictures=pictures,
        once=[Row(name_of(measure), told(measure), swim.pk) for swim, measure in single],
        one=OneSwim(shown.swim, swim_words(shown.swim), along_of(shown), bar_of(shown)),
    )


def _over_swims(series: Series, now: Swim) -> Picture:
    swims = [swim for swim, _measure in series.points]
    measures = [measure for _swim, measure in series.points]
    return _picture(
        title=name_of(measures[-1]),
        head=_("Swim"),
        measures=measures,
        names=plots.named_runs([swim_in_short(swim) for swim in swims]),
        rows=[Row(swim_words(s), told(m), s.pk) for s, m in series.points],
        now=next((n for n, swim in enumerate(swims) if swim.pk == now.pk), None),
        against=against_before(series),
    )


def along_of(one: Told) -> list[Picture]:
    """What changes from length to length, or from one distance to the next."""
    pictures = []
    for key in ALONG:
        its = [measure for measure in one.measured.measures if measure.key == key]
        if len(its) > 1:
            by_length = key != "segment-speed"
            names = [_length_words(m) if by_length else metres(m.at_m or 0.0) for m in its]
            pictures.append(
                _picture(
                    title=said(DEFINITIONS[key].name) if by_length else _("Speed by segment"),
                    head=_("Length") if by_length else _("Segment from"),
                    measures=its,
                    names=_some([str(m.number) for m in its] if by_length else names),
                    rows=[Row(n, told(m)) for n, m in zip(names, its, strict=True)],
                )
            )
    return pictures


def _some(names: Sequence[str]) -> list[tuple[float, str]]:
    count = len(names)
    places = plots.named_places(count, NAMED_LENGTHS)
    return [(plots.middle_of(n, count), names[n]) for n in places]


def _length_words(measure: Measure) -> str:
    return _("length %(number)d") % {"number": measure.number}


def _picture(
    *,
    title: str,
    head: str,
    measures: Sequence[Measure],
    names: list[tuple[float, str]],
    rows: list[Row],
    now: int | None = None,
    against: Against | None = None,
) -> Picture:
    drawn = plots.chart([one.quantity for one in measures])
    return Picture(
        title=title,
        says=capfirst(said(measures[-1].definition.says)),
        chart=drawn,
        ticks=_ticks(drawn, measures[-1].unit),
        names=names,
        now=now,
        rows=rows,
        head=head,
        against=against,
        left_out=_left_out(len(drawn.left_out)) if drawn else "",
    )


def _ticks(drawn: plots.Chart | None, unit: Unit) -> list[tuple[float, str]]:
    """The unit stands at the uppermost alone."""
    if drawn is None:
        return []
    figures = [(tick.y, number_format(tick.value, drawn.decimals)) for tick in drawn.ticks]
    (y, figure) = figures[-1]
    return [*figures[:-1], (y, with_unit(figure, unit))]


def _left_out(count: int) -> str:
    if not count:
        return ""
    words = ngettext(
        "%(count)d is too unsure to be drawn.", "%(count)d are too unsure to be drawn.", count
    )
    return words % {"count": count}


def bar_of(one: Told) -> Bar | None:
    spent = time_spent(one.measured)
    if spent is None:
        return None
    values = [quantity.value for _part, quantity in spent.parts]
    shares, percents = plots.bar(values), plots.whole_percents(values)
    rows = [
        Row(part_words(part), _with_share(quantity, percent), number=n)
        for n, ((part, quantity), percent) in enumerate(
            zip(spent.parts, percents, strict=True), start=1
        )
    ]
    return Bar(
        whole=told(spent.whole, Unit.S),
        until=metres(spent.until_m),
        parts=[BarPart(share, n, share.percent >= 5) for n, share in enumerate(shares, start=1)],
        rows=rows,
    )


def _with_share(quantity: Quantity, percent: int) -> str:
    share = with_unit(number_format(percent, 0), Unit.PERCENT)
    return _("%(seconds)s, %(share)s of it") % {
        "seconds": with_plus_minus(quantity, Unit.S),
        "share": share,
    }
