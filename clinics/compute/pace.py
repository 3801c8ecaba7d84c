"""A pace as swimmers know it: a time for a distance, or seconds for 100 m.

>>> pace_s_per_100m("0:42", over_m=50), pace_s_per_100m("95", over_m=100)
(84.0, 95.0)
"""

from __future__ import annotations

import re

PACE_MIN_S, PACE_MAX_S = 40.0, 600.0  # per 100 m, as an entry may have it

_MINUTES = re.compile(r"(\d{1,2})\s*[:'′]\s*([0-5]?\d(?:[.,]\d{1,2})?)\s*(?:[\"″]|s)?")
_SECONDS = re.compile(r"(\d{1,3}(?:[.,]\d{1,2})?)\s*(?:[\"″]|s|sec)?")
_OVER = re.compile(r"(\d{1,4}(?:[.,]\d{1,2})?)\s*m\b\s*(?:in|en|:|,)?\s*(.+)")


def time_s(text: str) -> float | None:
    """Seconds, from minutes and seconds or seconds alone; None: it cannot be read.

    >>> time_s("1:32.5"), time_s("92,5 s"), time_s("1'05"), time_s("soon")
    (92.5, 92.5, 65.0, None)
    """
    told = text.strip().lower()
    if found := _MINUTES.fullmatch(told):
        return int(found[1]) * 60 + _number(found[2])
    if found := _SECONDS.fullmatch(told):
        return _number(found[1])
    return None


def pace_s_per_100m(text: str, *, over_m: float) -> float | None:
    """Seconds for 100 m, to the tenth; None: it cannot be read. A distance that is written with
    the time counts, not `over_m`.

    >>> pace_s_per_100m("50 m in 0:42", over_m=100)
    84.0
    """
    told = text.strip().lower()
    if found := _OVER.fullmatch(told):
        over_m, told = _number(found[1]), found[2]
    took_s = time_s(told)
    if took_s is None or over_m <= 0:
        return None
    return round(took_s * 100 / over_m, 1)


def pace_ok(pace: float) -> bool:
    return PACE_MIN_S <= pace <= PACE_MAX_S


def as_time(pace: float) -> str:
    """
    >>> as_time(84.0), as_time(95.5), as_time(119.96)
    ('1:24', '1:35.5', '2:00')
    """
    minutes, tenths = divmod(round(pace * 10), 600)
    seconds = f"{tenths // 10:02d}"
    return f"{minutes}:{seconds}" + (f".{tenths % 10}" if tenths % 10 else "")


def _number(text: str) -> float:
    return float(text.replace(",", "."))
