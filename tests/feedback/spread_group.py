"""Swimmers of the cast's clinic who swam alike; their measures count unless said otherwise."""

from __future__ import annotations

import datetime as dt
from typing import Any

from clinics.models import Consent, Swim, Swimmer
from portal.models import User
from tests.cast import FIRST_START, Cast, make_entry, make_swim
from tests.feedback.marked_swims import mark_swim
from tests.feedback.measuring.swims import TRUTH

COUNT = "count-among-group"
APART_S = 0.31  # from one of them to the next


def let_count(swimmer: Swimmer) -> None:
    Consent.objects.create(swimmer=swimmer, purpose=COUNT)


def no_more(swimmer: Swimmer) -> None:
    swimmer.consents.filter(purpose=COUNT).update(ended_at=FIRST_START)


def given(cast: Cast, **fields: Any) -> dict[str, Any]:
    """What a swim has that was passed on and given, heard to 4 ms."""
    told = {
        "person": "confirmed",
        "person_by": cast.checker,
        "others_recorded_at": FIRST_START,
        "others_recorded_by": cast.checker,
        "passed_at": FIRST_START,
        "passed_by": cast.checker,
        "given_at": FIRST_START,
        "given_by": cast.coach,
    }
    return {**told, **fields}


def one_more(
    cast: Cast,
    number: int,
    *,
    slower_s: float,
    counts: bool = True,
    user: User | None = None,
    name: str = "",
    **fields: Any,
) -> Swim:
    """A swimmer of the clinic with one marked swim."""
    entry = make_entry(cast.clinic, name or f"Swimmer {number}", number, user, "")
    if counts:
        let_count(entry.swimmer)
    start_at = FIRST_START + dt.timedelta(seconds=2.0 * number)
    swim = make_swim(entry, start_at, **given(cast, **fields))
    return marked(cast, swim, slower_s)


def marked(cast: Cast, swim: Swim, slower_s: float, truth: Any = TRUTH) -> Swim:
    Swim.objects.filter(pk=swim.pk).update(start_kind="heard", start_u_ms=4.0)
    swim.refresh_from_db()
    mark_swim(swim, cast.recordings["start-side"], cast.coach, slower_s=slower_s, truth=truth)
    return swim


def group(cast: Cast, count: int, *, first: int = 11) -> list[Swim]:
    """Each slower than the one before by the same; Tomas' own swim is marked, too."""
    if not cast.swims["tomas"].marks.exists():
        marked(cast, cast.swims["tomas"], 0.0)
    return [one_more(cast, first + n, slower_s=APART_S * (n + 1)) for n in range(count)]
