"""Battery, card and files of a station, in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.kit import KitLine, StationKit
from clinics.compute.station_needs import BitRate, Enough, KitItem, Supply, Thing
from clinics.compute.station_needs import size_gb as size_of_gb
from clinics.models import KitTick
from clinics.views.stations_findings import LOOK, OK, UNKNOWN, Told, fig
from clinics.views.words import said


@dataclass(frozen=True)
class ToldLine:
    """A line of the list in the reader's language."""

    line: KitLine
    words: str
    why: str

    @property
    def item(self) -> KitItem:
        return self.line.item

    @property
    def tick(self) -> KitTick | None:
        return self.line.tick


STATES = {Enough.ENOUGH: OK, Enough.SHORT: LOOK, Enough.NOT_SAID: UNKNOWN}


def lines_told(lines: list[KitLine]) -> list[ToldLine]:
    return [
        ToldLine(one, said(one.item.words), said(one.item.why) if one.item.why else "")
        for one in lines
    ]


def mode_told(rate: BitRate) -> str:
    told = {"mode": said(rate.words), "rate": fig(rate.mbit_per_s)}
    return _("%(mode)s, %(rate)s Mbit/s") % told


def kit_told(kit: StationKit) -> list[Told]:
    """Battery and card against what somebody means to bring."""
    return [_battery(kit), _card(kit)]


def _battery(kit: StationKit) -> Told:
    """Minutes are rounded up: a battery that lasts as printed is none too long."""
    told = {"need": math.ceil(kit.needs.battery_min - 1e-9), "minutes": fig(kit.needs.minutes, 0)}
    need = _("Battery for %(need)d minutes: %(minutes)s recorded, and half again in reserve.")
    return _against(kit.battery, need % told)


def _card(kit: StationKit) -> Told:
    need_gb, size_gb = kit.needs.card_gb, size_of_gb(kit.needs.minutes, kit.bit_rate.mbit_per_s)
    told = {"need": fig(math.ceil(10 * need_gb - 1e-9) / 10, 1), "size": fig(size_gb, 1)}
    need = _("Room on the card for %(need)s GB: %(size)s recorded, and a quarter more in reserve.")
    return _against(kit.card, need % told)


def _against(supply: Supply, need: str) -> Told:
    state, is_card = STATES[supply.state], supply.thing is Thing.CARD
    if supply.state is Enough.NOT_SAID:
        do = (
            _("Say under “Camera” how much one card holds.")
            if is_card
            else _("Say under “Camera” how long one battery lasts.")
        )
        return Told(state, need, do)
    given = fig(supply.given or 0.0, 1)
    if supply.state is Enough.ENOUGH:
        whole = _("One card holds %(given)s GB.") if is_card else _("One lasts %(given)s minutes.")
        return Told(state, f"{need} {whole % {'given': given}}")
    return Told(state, need, _short(supply, given, is_card=is_card))


def _short(supply: Supply, given: str, *, is_card: bool) -> str:
    told = {"given": given, "pieces": supply.pieces}
    if is_card:
        told["short"] = fig(math.ceil(10 * supply.short - 1e-9) / 10, 1)
        return _("One card holds %(given)s GB, %(short)s GB too little: bring %(pieces)d.") % told
    told["short"] = str(math.ceil(supply.short - 1e-9))
    return _("One lasts %(given)s minutes, %(short)s too few: bring %(pieces)d, charged.") % told


def files_told(kit: StationKit) -> str:
    """How many files come of it, for who brings them in."""
    count = kit.needs.files
    makes = ngettext("It makes %(count)d file.", "It makes %(count)d files.", count)
    told = {"count": count, "groups": kit.takes}
    if kit.takes > 1:
        makes += " " + _("The camera is started anew for each of the %(groups)d lane groups.")
    elif count > 1:
        makes += " " + _("A camera begins a new file at 4 GB; bring all of them in, in order.")
    return makes % told
