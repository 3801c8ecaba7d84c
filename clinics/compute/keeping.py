"""Until which day something is kept, and why. Pure arithmetic of days: no clock, no database.

The day on which something goes is the first on which it is not there any more: what is kept
until 20 January goes as that day begins (in UTC).
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Why(StrEnum):
    """What a date follows from."""

    NEXT_CLINIC = "next-clinic"  # so many days after the swimmer's next clinic
    AT_MOST = "at-most"  # no next clinic, or one too far off
    NOT_GIVEN = "not-given"  # never given to its swimmer
    WITHDRAWN = "withdrawn"  # the swimmer agrees no longer
    ASKED = "asked"  # the swimmer asked that it goes, and the club said yes
    KEPT_LONGER = "kept-longer"  # the swimmer asked, and the club said yes
    MEASURES = "measures"  # what was said and measured
    WITH_CLIPS = "with-clips"  # a swim stays as long as its clips
    CLOSED = "closed"  # so many days after the clinic was closed
    NOT_CLOSED = "not-closed"  # the clinic is still open: at the latest then


@dataclass(frozen=True)
class Rules:
    """What a club decided; the defaults of `ClubRules`. Days and months are whole and not
    negative."""

    clips_after_next_days: int = 31
    clips_at_most_months: int = 18
    measures_months: int = 36
    originals_days: int = 30
    not_given_days: int = 60
    upload_parts_days: int = 7


@dataclass(frozen=True)
class Until:
    """The day on which something goes, and why."""

    day: dt.date
    why: Why


def add_months(day: dt.date, months: int) -> dt.date:
    """The same day so many months later; the month's last day where it has no such day.

    >>> add_months(dt.date(2026, 8, 31), 6), add_months(dt.date(2024, 2, 29), 12)
    (datetime.date(2027, 2, 28), datetime.date(2025, 2, 28))
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return dt.date(year, month + 1, min(day.day, last))


def begin_of(day: dt.date) -> dt.datetime:
    """The instant at which a day begins, in UTC."""
    return dt.datetime.combine(day, dt.time(), dt.UTC)


def clips_until(
    rules: Rules,
    *,
    clinic_day: dt.date,
    cut_day: dt.date,
    given: bool,
    looked_day: dt.date | None,
    other_days: Iterable[dt.date],
    keep_until: dt.date | None = None,
) -> Until:
    """Until when a clip is kept.

    `cut_day`: when it was first cut, if that is later than the clinic (recordings of an old
    one): all counts from the later of the two. `given`: the swim was given to its swimmer.
    `looked_day`: when somebody last said who it is; what is not given has its days from then,
    so that a checker has time after "this is not me". `other_days`: days of the swimmer's
    clinics, in any order; the first one after both days counts. `keep_until`: what the club
    granted beyond its rule; it lengthens only what was given.
    """
    begin = max(clinic_day, cut_day)
    at_most = Until(add_months(begin, rules.clips_at_most_months), Why.AT_MOST)
    if not given:
        looked = max(begin, looked_day or begin)
        days = dt.timedelta(days=rules.not_given_days)
        return min(Until(looked + days, Why.NOT_GIVEN), at_most, key=lambda one: one.day)
    until = at_most
    following = min((day for day in other_days if day > begin), default=None)
    if following is not None:
        after = following + dt.timedelta(days=rules.clips_after_next_days)
        until = min(Until(after, Why.NEXT_CLINIC), at_most, key=lambda one: one.day)
    if keep_until is not None and keep_until > until.day:
        return Until(keep_until, Why.KEPT_LONGER)
    return until


def swim_until(
    rules: Rules,
    *,
    clinic_day: dt.date,
    given: bool,
    looked_day: dt.date | None,
    clips: Iterable[Until] = (),
) -> Until:
    """Until when a swim is kept with what was said, drawn and measured: never shorter than its
    `clips`. One that was never given goes with them."""
    if given:
        own = Until(add_months(clinic_day, rules.measures_months), Why.MEASURES)
    else:
        looked = max(clinic_day, looked_day or clinic_day)
        own = Until(looked + dt.timedelta(days=rules.not_given_days), Why.NOT_GIVEN)
    last = max(clips, key=lambda one: one.day, default=own)
    if last.day <= own.day:
        return own
    return Until(last.day, own.why if not given else Why.WITH_CLIPS)


def originals_until(rules: Rules, *, clinic_day: dt.date, brought_day: dt.date) -> Until:
    """Until when the originals of a clinic that nobody closes are kept: as long as a clip at
    most, so that a forgotten clinic does not keep them for ever."""
    begin = max(clinic_day, brought_day)
    return Until(add_months(begin, rules.clips_at_most_months), Why.NOT_CLOSED)


def records_until(rules: Rules, *, clinic_day: dt.date) -> dt.date:
    """Until when the start log, the roster and the recordings' rows of a clinic are kept."""
    return add_months(clinic_day, rules.measures_months)


def sign_ups_until(rules: Rules, *, clinic_day: dt.date) -> dt.date:
    """Until when sign-ups of a clinic are kept with what coaches should look at: as long as what
    was never given. Injuries go sooner, when the clinic is closed."""
    return clinic_day + dt.timedelta(days=rules.not_given_days)
