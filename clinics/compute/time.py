"""The one module that converts between the three times.

`media_s`: seconds from a recording's first presented frame, by PTS; as whole ticks of
1/90000 s where it must be exact. Clinic time: aware datetimes (UTC) with microseconds.
`swim_s`: seconds from the swim's start signal; negative before it.

A clock fit maps media time to clinic time by
    instant = zero_at + media_s * (1 + rate_ppm * 1e-6)
so `rate_ppm` is clinic seconds per media second, minus one, in millionths: positive when
the camera's clock runs slow (its second is longer than a second of the clinic).
"""

from __future__ import annotations

import datetime as dt

TICKS_PER_S = 90_000
EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_MICROSECOND = dt.timedelta(microseconds=1)


def media_s_to_ticks(media_s: float) -> int:
    """Nearest tick.

    >>> media_s_to_ticks(0.5), media_s_to_ticks(1 / 90_000)
    (45000, 1)
    """
    return round(media_s * TICKS_PER_S)


def ticks_to_media_s(ticks: int) -> float:
    """
    >>> ticks_to_media_s(135_000)
    1.5
    """
    return int(ticks) / TICKS_PER_S


def from_epoch_ms(ms: float) -> dt.datetime:
    """Milliseconds since 1970, as browsers tell them, as an instant to the microsecond.

    >>> from_epoch_ms(1_794_652_350_250.0004).isoformat()
    '2026-11-14T10:32:30.250000+00:00'
    """
    return EPOCH + dt.timedelta(microseconds=round(ms * 1000))


def to_epoch_ms(instant: dt.datetime) -> float:
    """
    >>> to_epoch_ms(from_epoch_ms(1_794_652_350_250.5))
    1794652350250.5
    """
    return (_need_aware(instant) - EPOCH) / dt.timedelta(milliseconds=1)


def _need_aware(instant: dt.datetime) -> dt.datetime:
    if instant.tzinfo is None:
        raise ValueError("clinic time needs an instant with its offset from UTC")
    return instant


def _rate(rate_ppm: float) -> float:
    return 1.0 + rate_ppm * 1e-6


def clinic_instant(zero_at: dt.datetime, rate_ppm: float, media_s: float) -> dt.datetime:
    """Clinic time of a media time, to the microsecond.

    >>> zero = dt.datetime(2026, 11, 14, 10, tzinfo=dt.UTC)
    >>> clinic_instant(zero, 100.0, 3600.0).isoformat()
    '2026-11-14T11:00:00.360000+00:00'
    """
    elapsed = dt.timedelta(microseconds=round(media_s * _rate(rate_ppm) * 1e6))
    return _need_aware(zero_at) + elapsed


def media_s_at(zero_at: dt.datetime, rate_ppm: float, instant: dt.datetime) -> float:
    """Media time at a clinic instant; negative before the recording began.

    >>> zero = dt.datetime(2026, 11, 14, 10, tzinfo=dt.UTC)
    >>> media_s_at(zero, 0.0, zero + dt.timedelta(seconds=12.5))
    12.5
    """
    return seconds_between(_need_aware(zero_at), _need_aware(instant)) / _rate(rate_ppm)


def swim_s(start_at: dt.datetime, instant: dt.datetime) -> float:
    """Seconds from the start signal to an instant; negative before the signal.

    >>> start = dt.datetime(2026, 11, 14, 10, tzinfo=dt.UTC)
    >>> swim_s(start, start - dt.timedelta(seconds=3))
    -3.0
    """
    return seconds_between(_need_aware(start_at), _need_aware(instant))


def swim_instant(start_at: dt.datetime, at_swim_s: float) -> dt.datetime:
    """Clinic time of a swim time: the inverse of `swim_s`."""
    return _need_aware(start_at) + dt.timedelta(microseconds=round(at_swim_s * 1e6))


def swim_s_to_media_s(
    zero_at: dt.datetime, rate_ppm: float, start_at: dt.datetime, at_swim_s: float
) -> float:
    """Media time of a recording at a swim time, without rounding to microseconds between."""
    return (seconds_between(zero_at, start_at) + at_swim_s) / _rate(rate_ppm)


def seconds_between(earlier: dt.datetime, later: dt.datetime) -> float:
    """later - earlier in seconds, exact to the microsecond."""
    return ((later - earlier) // _MICROSECOND) / 1e6


def to_epoch_s(instant: dt.datetime, reference: dt.datetime = EPOCH) -> float:
    """Seconds after a reference; take one near the instant to keep sub-microsecond digits."""
    return seconds_between(reference, _need_aware(instant))


def from_epoch_s(seconds: float, reference: dt.datetime = EPOCH) -> dt.datetime:
    """The inverse of `to_epoch_s`, to the microsecond."""
    return reference + dt.timedelta(microseconds=round(seconds * 1e6))


def iso_utc(instant: dt.datetime | None) -> str | None:
    """ISO 8601 in UTC, always with microseconds, as reports give it.

    >>> iso_utc(dt.datetime(2026, 11, 14, 10, tzinfo=dt.UTC))
    '2026-11-14T10:00:00.000000Z'
    """
    if instant is None:
        return None
    in_utc = _need_aware(instant).astimezone(dt.UTC).replace(tzinfo=None)
    return in_utc.isoformat(timespec="microseconds") + "Z"
