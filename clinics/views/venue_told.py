"""A venue sheet in words; what nobody has said is said to be so."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.cautions import here_of
from clinics.compute.start_words import depth_words
from clinics.models import VenueSheet
from clinics.views.cautions_told import told


@dataclass(frozen=True)
class Line:
    """`missing`: nobody has said it yet. `label`: what free words are about."""

    words: str
    missing: bool = False
    label: str = ""


@dataclass(frozen=True)
class Part:
    key: str
    title: str
    lines: tuple[Line, ...]


def parts_of(sheet: VenueSheet) -> tuple[Part, ...]:
    return tuple(
        Part(key, title, tuple(lines(sheet)))
        for key, title, lines in (
            ("permission", _("Permission to film"), _permission),
            ("others", _("Who else is in the hall"), _others),
            ("lanes", _("Lanes and ropes"), _lanes),
            ("depth", _("Depth"), _depth),
            ("starts", _("Blocks and edge"), _starts),
            ("there", _("What is there"), _there),
        )
    )


def missing(parts: Iterable[Part]) -> int:
    return sum(line.missing for part in parts for line in part.lines)


def _said(label: str, words: str, otherwise: str) -> Line:
    return Line(words, label=label) if words else Line(otherwise, missing=True)


def _metres(value_m: float) -> str:
    return number_format(f"{value_m:.10g}")


def _permission(sheet: VenueSheet) -> Iterator[Line]:
    yield _said(_("Pool operator"), sheet.operator, _("Nobody has said who runs the pool."))
    otherwise = _("Nobody has said how to reach the operator.")
    yield _said(_("To reach them"), sheet.operator_contact, otherwise)
    state = sheet.permission
    if state == VenueSheet.Permission.REFUSED:
        yield Line(_("The operator refuses: nobody films here."))
    elif state == VenueSheet.Permission.ASKED:
        yield Line(_("Permission to film: asked, no answer yet. Nobody films without it."), True)
    elif state == VenueSheet.Permission.GIVEN:
        yield from _given(sheet)
    else:
        yield Line(_("Permission to film: not asked yet. Ask the pool operator first."), True)
    if sheet.permission_says:
        yield Line(sheet.permission_says, label=_("What it says"))


def _given(sheet: VenueSheet) -> Iterator[Line]:
    who = {"who": sheet.permission_by}
    if sheet.permission_on:
        day = date_format(sheet.permission_on, "DATE_FORMAT")
        yield Line(_("Permission to film: given by %(who)s on %(day)s.") % {**who, "day": day})
    else:
        yield Line(_("Permission to film: given by %(who)s.") % who)
        yield Line(_("Nobody has said when it was given."), missing=True)
    if not sheet.permission_says:
        yield Line(_("Nobody has put down what it says."), missing=True)


def _others(sheet: VenueSheet) -> Iterator[Line]:
    otherwise = _("Nobody has said who else is in the hall.")
    yield _said(_("Others"), sheet.other_users, otherwise)
    if sheet.juniors_in_hall is None:
        yield Line(_("Nobody has said whether juniors train in the hall at that time."), True)
    elif sheet.juniors_in_hall:
        yield Line(_("Juniors train in the hall at that time."))
        otherwise = _("Nothing is settled with the juniors' coaches. Speak with them before.")
        yield _said(_("Settled with their coaches"), sheet.juniors_settled, otherwise)
    else:
        yield Line(_("No juniors train in the hall at that time."))
        if sheet.juniors_settled:
            yield Line(sheet.juniors_settled, label=_("Settled with their coaches"))


def _lanes(sheet: VenueSheet) -> Iterator[Line]:
    if sheet.lanes is None:
        yield Line(_("Nobody has said how many lanes there are; plans are drawn with 6."), True)
    else:
        count = ngettext("%(count)s lane", "%(count)s lanes", sheet.lanes)
        yield Line(count % {"count": sheet.lanes})
    if sheet.lane_m is None:
        yield Line(_("Nobody has said how wide a lane is; plans are drawn with 2.5 m."), True)
    else:
        yield Line(_("A lane is %(width)s m wide.") % {"width": _metres(sheet.lane_m)})
    if sheet.ropes_out:
        names = ", ".join(_between(rope) for rope in sheet.ropes_out)
        yield Line(_("Ropes that come out: %(ropes)s.") % {"ropes": names})
    else:
        yield Line(_("No rope comes out, as far as anybody has said."))
    if sheet.flags_m is None:
        yield Line(_("Nobody has said where the flags hang; plans are drawn with 5 m."), True)
    else:
        told_m = {"flags": _metres(sheet.flags_m)}
        yield Line(_("Backstroke flags hang %(flags)s m from the wall.") % told_m)


def _between(rope: int) -> str:
    return _("between lanes %(one)s and %(other)s") % {"one": rope, "other": rope + 1}


def _depth(sheet: VenueSheet) -> Iterator[Line]:
    here = here_of(sheet)
    for words in depth_words(here):
        yield Line(told(words), missing=not here.profile)
    who_when_how = (here.measured_by, here.measured_on, here.measured_how)
    if here.profile and not all(who_when_how):
        yield Line(_("Whoever measured it can say who, when, where and how."), missing=True)


def _starts(sheet: VenueSheet) -> Iterator[Line]:
    if sheet.has_blocks is None:
        yield Line(_("Nobody has said whether there are starting blocks."), missing=True)
    elif not sheet.has_blocks:
        yield Line(_("There are no starting blocks."))
    if sheet.block_height_m is not None:
        height = {"height": _metres(sheet.block_height_m)}
        yield Line(_("The blocks are %(height)s m above the water.") % height)
    elif sheet.has_blocks:
        yield Line(_("Nobody has said how high the blocks are above the water."), missing=True)
    if sheet.edge_height_m is not None:
        height = {"height": _metres(sheet.edge_height_m)}
        yield Line(_("The edge is %(height)s m above the water.") % height)
    else:
        yield Line(_("Nobody has said how high the edge is above the water."), missing=True)


def _there(sheet: VenueSheet) -> Iterator[Line]:
    if sheet.has_window is None:
        yield Line(_("Nobody has said whether there is an underwater window."), missing=True)
    elif sheet.has_window:
        where = sheet.window.rstrip(".") or _("nobody has said where")
        yield Line(_("Underwater window: %(where)s.") % {"where": where}, not sheet.window)
    else:
        yield Line(_("There is no underwater window."))
    yield _said(_("Mains power"), sheet.power, _("Nobody has said anything of mains power here."))
    yield _said(_("Network"), sheet.network, _("Nobody has said whether there is a network."))
    otherwise = _("Nobody has said who the lifeguard is. Ask the pool operator.")
    yield _said(_("Lifeguard"), sheet.lifeguard, otherwise)
    if sheet.notes:
        yield Line(sheet.notes, label=_("Else"))
