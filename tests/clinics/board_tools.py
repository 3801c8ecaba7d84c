"""What the tests of the board's acts share: the whole board as plain values."""

from __future__ import annotations

import datetime as dt
from typing import Any

from clinics.actions.keeping_dates import date_swims
from clinics.models import Clinic, Clip, Recognised, StartLogEntry, Swim, Tie
from tests.cast import Cast, make_clip, make_entry, make_swim

Rows = dict[str, dict[str, Any]]
# what follows from the rest and from the work of the machine
DERIVED = {"state", "reason", "rendered_at", "time_state"}


def board_as_it_is(clinic: Clinic) -> Rows:
    """Every value of every row of a board, but for what the machine derives; delete-by dates as
    they are once the sweep has come by."""
    swims = Swim.objects.filter(entry__clinic=clinic)
    date_swims(swims)
    sets = {
        "swim": swims,
        "clip": Clip.objects.filter(swim__in=swims),
        "recognised": Recognised.objects.filter(swim__in=swims),
        "tie": Tie.objects.filter(swim__in=swims),
        "line": StartLogEntry.objects.filter(clinic=clinic, undone_at__isnull=True),
    }
    return {
        f"{name} {row['id']}": {k: v for k, v in row.items() if k not in DERIVED}
        for name, rows in sets.items()
        for row in rows.values()
    }


def more_swims(cast: Cast) -> None:
    """Two more swimmers, so that there is somebody to swap with; the clips have their dates."""
    for number, name in ((7, "Ada Rell"), (8, "Bo Lindqvist")):
        entry = make_entry(cast.clinic, name, number, None, f"{name.split()[0].lower()}@h.example")
        start_at = cast.swims["wren"].start_at + dt.timedelta(seconds=30.1 * (number - 5))
        swim = make_swim(entry, start_at)
        key = name.split()[0].lower()
        cast.swims[key] = swim
        cast.clips[key] = [
            make_clip(swim, cast.recordings["start-side"], 1, from_s=-1.0),
            make_clip(swim, cast.recordings["underwater"], 1, from_s=7.0),
        ]
    date_swims(Swim.objects.filter(entry__clinic=cast.clinic))


def fresh(swim: Swim) -> Swim:
    return Swim.objects.select_related("entry__clinic", "entry__swimmer").get(pk=swim.pk)


def fresh_clip(clip: Clip) -> Clip:
    rows = Clip.objects.select_related("recording__station__clinic", "swim__entry__clinic")
    return rows.get(pk=clip.pk)
