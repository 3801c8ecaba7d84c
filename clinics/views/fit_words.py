"""What a clock fit says, in the reader's language: its state in a sentence, its figures in one
notation, the evidence as a chance."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.fit_figures import FitFigures
from clinics.compute.sureness import Sureness, within
from clinics.models import ClockFit, Recording, Tie
from clinics.views.words import sure_words

# A shape of the lane strip (portal/compute/lane_strip.py) for each kind of tie.
SHAPE_OF = {
    Tie.Kind.START_HEARD: "round",
    Tie.Kind.START_SEEN: "square",
    Tie.Kind.INSTANT: "plus",
    Tie.Kind.SLATE_SEEN: "diamond",
    Tie.Kind.SLATE_HEARD: "down",
    Tie.Kind.SAME_MOMENT: "up",
    Tie.Kind.PASSING: "bar",
}
RAREST = 1e-9
SECONDS_FROM_MS = 1000.0


def number(value: float, digits: int) -> str:
    """In the reader's notation, rounded (Django's number_format alone cuts off)."""
    return number_format(round(value, digits), digits)


def plain(value: float) -> str:
    """Without needless digits: "4", "2.5"."""
    return number_format(Decimal(f"{value:g}"))


def pm(u_ms: float | None) -> str:
    """An uncertainty as it stands everywhere: "± 4.2 ms", "± 38 ms", "± 2.0 s"."""
    if u_ms is None:
        return _("not known")
    if u_ms >= SECONDS_FROM_MS:
        return _("± %(u)s s") % {"u": number(u_ms / 1000, 1)}
    return _("± %(u)s ms") % {"u": number(u_ms, _digits(u_ms))}


def ms(value: float | None) -> str:
    """A residual with its sign: "+1.4 ms"; "" if there is none."""
    if value is None:
        return ""
    sign = "+" if value >= 0 else "−"
    if abs(value) >= SECONDS_FROM_MS:
        return _("%(value)s s") % {"value": sign + number(abs(value) / 1000, 1)}
    return _("%(value)s ms") % {"value": sign + number(abs(value), _digits(abs(value)))}


def _digits(ms: float) -> int:
    """Two that count, as far as hundredths."""
    return 0 if ms >= 10 else 1 if ms >= 1 else 2


def ppm(value: float) -> str:
    sign = "+" if value >= 0 else "−"
    return _("%(value)s ppm") % {"value": sign + number(abs(value), 1)}


def chance(false_match_p: float | None) -> str:
    """The evidence: how often a match as good as this happens by chance; "" if not known."""
    if false_match_p is None:
        return ""
    if false_match_p < RAREST:
        return _(
            "A match as good as this happens by chance less often than once in a thousand "
            "million shuffled logs."
        )
    once_in = two_figures(1 / false_match_p)
    if once_in < 2:
        return _("A match as good as this is to be expected by chance.")
    told = _("A match as good as this happens by chance once in %(n)s shuffled logs.")
    return told % {"n": number_format(once_in, 0, use_l10n=True, force_grouping=True)}


def two_figures(value: float) -> int:
    """
    >>> two_figures(41_666.7), two_figures(3.4), two_figures(1.0)
    (42000, 3, 1)
    """
    power = 10 ** max(math.floor(math.log10(value)) - 1, 0)
    return int(round(value / power) * power)


def clock_sentence(
    fit: ClockFit | None, *, frame_ms: float | None, starts: int, starts_of: int, heard: bool
) -> str:
    """How the clock was found and how right it is: "Clock found from 38 of 38 start signals,
    right within a frame from beginning to end." `starts` are those that count, `starts_of`
    those that fall into the recording, `heard`: all of them were heard."""
    if fit is None or fit.state == ClockFit.State.NOT_FOUND:
        return _not_found(fit)
    right = _right(fit, frame_ms)
    if not starts:
        how = ngettext("Clock found from %(n)s tie", "Clock found from %(n)s ties", fit.tie_count)
        return f"{how % {'n': fit.tie_count}}, {right}." if fit.tie_count else f"{_coarse(right)}."
    if heard:
        how = ngettext(
            "Clock found from %(n)s of %(of)s start signal",
            "Clock found from %(n)s of %(of)s start signals",
            starts_of,
        )
    else:
        how = ngettext(
            "Clock found from %(n)s of %(of)s start",
            "Clock found from %(n)s of %(of)s starts",
            starts_of,
        )
    return f"{how % {'n': starts, 'of': max(starts_of, starts)}}, {right}."


def _coarse(right: str) -> str:
    return _("Placed without a tie, %(right)s") % {"right": right}


def _not_found(fit: ClockFit | None) -> str:
    if fit is not None and len(fit.candidates) > 1:
        return _("Two places fit about as well: a person has to say which it is.")
    return _("We do not know yet when this was filmed.")


def _right(fit: ClockFit, frame_ms: float | None) -> str:
    told = [
        sure_words(within(u_ms=u_ms if u_ms is not None else fit.u_ms, frame_ms=frame_ms))
        for u_ms in (fit.u_begin_ms, fit.u_mid_ms, fit.u_end_ms)
    ]
    if within(u_ms=fit.u_ms, frame_ms=frame_ms).kind is Sureness.NOT_FOUND:
        return _("how right is not known")
    if len(set(told)) == 1:
        return _("right %(within)s from beginning to end") % {"within": told[0]}
    words = _("right %(begin)s at its beginning, %(mid)s in the middle and %(end)s at its end")
    return words % {"begin": told[0], "mid": told[1], "end": told[2]}


METHODS = {
    "starts": lambda: _("the pattern of starts in its sound"),
    "ties": lambda: _("ties"),
    "slate": lambda: _("a slate"),
    "passing": lambda: _("swimmers passing"),
    "motion": lambda: _("swimmers passing"),
    "correlation": lambda: _("its whole sound against another's"),
    "file date": lambda: _("the date in its file"),
    "none": lambda: _("nothing yet"),
}


def method_words(method: str) -> str:
    """By which a recording was placed; a method without words here is shown as it is stored."""
    return METHODS[method]() if method in METHODS else method


@dataclass(frozen=True)
class Figure:
    """A line of the figures behind "Show the fit"."""

    name: str
    value: str


def figure_lines(figures: FitFigures) -> list[Figure]:
    """All that is known of a recording's clock, in figures."""
    fit = figures.fit
    if fit is None or fit.zero_at is None:
        return []
    lines = [
        Figure(_("First picture at"), instant_words(fit.zero_at, figures.recording)),
        Figure(_("Uncertainty at its beginning"), pm(_or_largest(fit.u_begin_ms, fit))),
        Figure(_("in the middle"), pm(_or_largest(fit.u_mid_ms, fit))),
        Figure(_("at its end"), pm(_or_largest(fit.u_end_ms, fit))),
        Figure(_("Camera's clock"), ppm(fit.camera_ppm)),
        Figure(_("Found by"), method_words(fit.method)),
        Figure(_("Ties that count"), kinds_words(figures)),
    ]
    if figures.recording.slow_motion != 1:
        factor = plain(figures.recording.slow_motion)
        lines.insert(5, Figure(_("Slow motion"), _("%(n)s times") % {"n": factor}))
    if fit.false_match_p is not None:
        lines.append(Figure(_("Evidence"), chance(fit.false_match_p)))
    return lines


def _or_largest(u_ms: float | None, fit: ClockFit) -> float | None:
    return fit.u_ms if u_ms is None else u_ms


def kinds_words(figures: FitFigures) -> str:
    """How many ties of which kind count: "38 start signal, heard; 2 slate, seen"."""
    kinds = Counter(one.tie.kind for one in figures.ties if not one.tie.set_aside)
    told = [f"{kinds[kind]} × {kind.label}" for kind in Tie.Kind if kinds[kind]]
    return "; ".join(told) or _("none")


def instant_words(instant: dt.datetime, row: Recording) -> str:
    """On the day, by the clinic's own clock on the wall, to the millisecond."""
    local = instant.astimezone(row.station.clinic.zone)
    return f"{local:%Y-%m-%d %H:%M:%S}.{local.microsecond // 1000:03d}"
