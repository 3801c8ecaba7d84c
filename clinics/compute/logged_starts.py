"""Lines of a start log that several phones took: which are one start, which of them leads, and
where they contradict each other.

Nothing here decides who is right: a contradiction is said with what to do, and stays until
somebody takes a line back.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from clinics.compute.errors import Said
from clinics.compute.errors import say as _
from clinics.compute.log_file import TOO_CLOSE_S

AS_GOOD_MS = 50.0
"""A clock known to this is as good as any: how unevenly people tap is three times as much."""
SERVER_U_MS = 100.0
"""A line that came without a phone's clock, as it arrived: within a network's delay (judgement,
no source)."""
ALIKE_S = 1.0
"""Two people who tap the same start tap within this."""
SPOKE_TOGETHER_S = 60.0
"""Two phones that say so differently of one swimmer within this speak of the same moment."""
FASTEST_SHARE = 0.6
"""Nobody swims in less of the time that is expected of them."""

AWAY, NO_SHOW, NOT_FILMED = "away", "no-show", "not-filmed"
ONE_START, TWICE = "two-phones-one-start", "same-swimmer-twice"
TOO_CLOSE_IN_LANE, DISAGREE = "too-close", "away-and-not"
TOO_CLOSE = dt.timedelta(seconds=TOO_CLOSE_S)


@dataclass(frozen=True)
class Logged:
    """A line that is not undone. `instant` is aware; `u_ms` of its clock, None: not known.
    `by_server`: it came without a phone's clock. `phone`: what took it, the same for all lines of
    one phone; `phone_name` as its holder calls it. `is_logger`: by somebody whose duty it is.
    `swims_s`: how long the swimmer is expected to swim."""

    client_id: str
    key: str
    number: int | None
    outcome: str
    instant: dt.datetime
    u_ms: float | None
    by_server: bool
    phone: str
    phone_name: str
    is_logger: bool
    swims_s: float


@dataclass(frozen=True)
class Conflict:
    """`settled`: one line leads and nothing has to be done. `words` in English, to be said in the
    reader's language."""

    kind: str
    client_ids: tuple[str, ...]
    numbers: tuple[int, ...]
    words: str
    settled: bool = False


def same_starts(lines: Iterable[Logged]) -> list[list[Logged]]:
    """Lines of one swimmer in groups, each of which is one start: within eight seconds after its
    first line. In order of time."""
    groups: list[list[Logged]] = []
    for line in sorted(lines, key=lambda one: (one.instant, one.client_id)):
        if groups and _apart_s(groups[-1][0], line) < TOO_CLOSE_S:
            groups[-1].append(line)
        else:
            groups.append([line])
    return groups


def leading(lines: Iterable[Logged]) -> Logged:
    """The line whose instant counts: of the clock that is known best; among those known well
    enough, the logger's by duty; else whichever, but always the same one."""
    return min(lines, key=lambda one: (_rank_ms(one), not one.is_logger, one.client_id))


def _rank_ms(line: Logged) -> float:
    u_ms = SERVER_U_MS if line.by_server else line.u_ms
    if u_ms is None:
        return math.inf
    return 0.0 if u_ms <= AS_GOOD_MS else u_ms


def conflicts(
    lines: Sequence[Logged], goes_again: Callable[[int], bool] = lambda _number: False
) -> list[Conflict]:
    """All of them, in order of time. `goes_again(number)`: a second go is wished for."""
    ordered = sorted(lines, key=lambda one: (one.instant, one.client_id))
    numbers = sorted({one.number for one in ordered if one.number is not None})
    found: list[tuple[dt.datetime, Conflict]] = []
    for number in numbers:
        its = [one for one in ordered if one.number == number]
        found += _one_start(its) + _twice(its) + _away_and_not(its, goes_again(number))
    found += _too_close(ordered)
    return [conflict for _at, conflict in sorted(found, key=lambda one: (one[0], one[1].kind))]


Found = list[tuple[dt.datetime, Conflict]]


def _one_start(its: Sequence[Logged]) -> Found:
    """The same start on two phones. It is settled: one line leads, the others stay as lines."""
    found: Found = []
    for group in same_starts(one for one in its if one.outcome == AWAY):
        if len(group) == 1:
            continue
        lead, apart_s = leading(group), _apart_s(group[0], group[-1])
        alike = apart_s <= ALIKE_S
        told = (
            _(
                "Number %(number)s was logged %(times)s times, %(apart).1f s apart: that is one "
                "start. The line of %(phone)s counts, the others are kept beside it."
            )
            if alike
            else _(
                "Number %(number)s was logged %(times)s times, %(apart).1f s apart. It is taken "
                "for one start, and the line of %(phone)s counts. Undo the line that is wrong."
            )
        )
        values = {
            "number": lead.number,
            "times": len(group),
            "apart": apart_s,
            "phone": _phone(lead),
        }
        found.append((group[0].instant, _conflict(ONE_START, group, told, values, alike)))
    return found


def _twice(its: Sequence[Logged]) -> Found:
    """Two phones log the same swimmer again while the first start's swim cannot be over: one of
    their clocks is wrong, or one line is."""
    found: Found = []
    goes = same_starts(one for one in its if one.outcome == AWAY)
    for before, after in zip(goes, goes[1:], strict=False):
        one, other = leading(before), leading(after)
        apart_s = _apart_s(one, other)
        if one.phone == other.phone or apart_s >= FASTEST_SHARE * one.swims_s:
            continue
        told = _(
            "Number %(number)s was logged by %(one)s and, %(apart)d s later, by %(other)s. Nobody "
            "goes twice in that time. If it was one start, undo the line that is wrong."
        )
        values = _values(one, other) | {"apart": round(apart_s)}
        found.append((one.instant, _conflict(TWICE, [*before, *after], told, values)))
    return found


def _away_and_not(its: Sequence[Logged], goes_again: bool) -> Found:
    """One phone says away, another says that the swimmer did not come, or was not filmed. Who
    did not come and goes later is simply away, so only what cannot both be is said."""
    found: Found = []
    away = [one for one in its if one.outcome == AWAY]
    for other in its:
        against = [one for one in away if _is_against(other, one, goes_again)]
        if not against:
            continue
        nearest = min(against, key=lambda one: _apart_s(one, other))
        told = (
            _(
                "Number %(number)s is away by %(one)s, and did not come by %(other)s. Undo the "
                "line that is wrong."
            )
            if other.outcome == NO_SHOW
            else _(
                "Number %(number)s is away by %(one)s, and away, not filmed, by %(other)s. Nothing "
                "of this start is shown until the line that is wrong is undone."
            )
        )
        pair = sorted((nearest, other), key=lambda one: one.instant)
        found.append((pair[0].instant, _conflict(DISAGREE, pair, told, _values(nearest, other))))
    return found


def _is_against(other: Logged, away: Logged, goes_again: bool) -> bool:
    """Does `other` say of the swimmer what cannot be if `away` is right?"""
    if other.phone == away.phone:
        return False
    later_s = (other.instant - away.instant).total_seconds()
    if other.outcome == NOT_FILMED:
        return abs(later_s) < TOO_CLOSE_S
    together = abs(later_s) < SPOKE_TOGETHER_S
    return other.outcome == NO_SHOW and (together or (later_s > 0 and not goes_again))


def _too_close(ordered: Sequence[Logged]) -> Found:
    """Two swimmers within a time in which the lane cannot hold both."""
    gone = [one for one in ordered if one.outcome in (AWAY, NOT_FILMED)]
    found: Found = []
    known: dict[frozenset[int], dt.datetime] = {}
    for place, one in enumerate(gone):
        for other in gone[place + 1 :]:
            if _apart_s(one, other) >= TOO_CLOSE_S:
                break
            if one.number is None or other.number is None or one.number == other.number:
                continue
            numbers = frozenset((one.number, other.number))
            near = known.get(numbers)
            if near is None or one.instant - near >= 2 * TOO_CLOSE:
                known[numbers] = one.instant  # a third phone says the same once more
                found.append((one.instant, _both_in_lane(one, other)))
    return found


def _both_in_lane(one: Logged, other: Logged) -> Conflict:
    told = _(
        "Numbers %(number)s (%(one)s) and %(second)s (%(other)s) were logged %(apart).1f s "
        "apart: the lane holds one of them. Undo the line of whoever did not start then."
    )
    values = _values(one, other) | {"second": other.number, "apart": _apart_s(one, other)}
    return _conflict(TOO_CLOSE_IN_LANE, [one, other], told, values)


def _conflict(
    kind: str,
    lines: Sequence[Logged],
    told: Said,
    values: Mapping[str, object],
    settled: bool = False,
) -> Conflict:
    numbers = dict.fromkeys(one.number for one in lines if one.number is not None)
    words = _(told.pattern, **values)
    return Conflict(kind, tuple(one.client_id for one in lines), tuple(numbers), words, settled)


def _values(one: Logged, other: Logged) -> dict[str, object]:
    return {"number": one.number, "one": _phone(one), "other": _phone(other)}


def _phone(line: Logged) -> str:
    if line.by_server:
        return _("the form or a file")
    return line.phone_name or _("a phone without a name")


def _apart_s(one: Logged, other: Logged) -> float:
    return abs((other.instant - one.instant).total_seconds())
