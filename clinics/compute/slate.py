"""The slate's code: what a phone shows and any camera films, as text.

`S1` + clinic (4) + instant (7) + u (2) + tone (1) + check (4): twenty characters that a QR code
of 21 by 21 modules holds at error correction M, so that the modules are as large as they can be.
Numbers are in base 36. `clinic` tells clinics apart and says nothing about anybody. `instant` is
server time in units of `PERIOD_MS`: the code shows from that instant on for one period. `u` is
within how many ms the phone's clock was measured; `tone` the same for the tone it plays, in
steps of 5 ms. `check` is computed from all the rest: a picture that blends two codes may be
read as one of them or as none, never as a third.

The period is no multiple of any usual frame interval: over two seconds the changes fall on all
parts of a frame, so that together they tell the instant far better than one of them
(`test_slate.py` has the figures). It is longer than any exposure in a lit hall, so that a picture
holds at most one change as a rule.
"""

from __future__ import annotations

import hashlib
import math
import uuid
from dataclasses import dataclass

MARK = "S1"
PERIOD_MS = 163
LENGTH = 20
MOST_U_MS = 36**2 - 1
TONE_STEP_MS = 5
NO_TONE = 35
"""What stands in the place of the tone's uncertainty when no tone is played."""
_DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class SlateCode:
    """One code. `instant_ms`: server time since 1970 from which it shows, a whole multiple of
    `PERIOD_MS`. `u_ms`: the phone's clock was within that. `tone_u_ms`: so is its tone, None if
    it plays none."""

    clinic: str
    instant_ms: int
    u_ms: int
    tone_u_ms: int | None = None

    @property
    def end_ms(self) -> int:
        """When the next code takes its place."""
        return self.instant_ms + PERIOD_MS


def clinic_code_of(clinic_id: uuid.UUID) -> str:
    """Four characters that stand for a clinic: one in 1.7 million has the same.

    >>> clinic_code_of(uuid.UUID(int=7))
    'G7XB'
    """
    return _base36(_digest(clinic_id.bytes) % 36**4, 4)


def index_at(instant_ms: float) -> int:
    """Number of the code that shows at an instant; code k shows from k * PERIOD_MS on.

    >>> index_at(PERIOD_MS * 5), index_at(PERIOD_MS * 5 - 0.5)
    (5, 4)
    """
    return math.floor(instant_ms / PERIOD_MS)


def format_code(code: SlateCode) -> str:
    """The text of a code; uncertainties are rounded up, never down.

    >>> format_code(SlateCode("K2TQ", 163 * 11_000_000_000, 12, 20))
    'S1K2TQ51X46BK0C4MBB5'
    """
    index, rest = divmod(code.instant_ms, PERIOD_MS)
    if rest or index < 0:
        raise ValueError(f"a code changes at whole multiples of {PERIOD_MS} ms")
    if not 0 <= code.u_ms <= MOST_U_MS:
        raise ValueError(f"the clock's uncertainty must lie between 0 and {MOST_U_MS} ms")
    body = MARK + code.clinic + _base36(index, 7) + _base36(code.u_ms, 2) + _tone(code.tone_u_ms)
    return body + _check(body)


def parse_code(text: str) -> SlateCode | None:
    """The code behind a text, or None if it is no code of a slate.

    >>> parse_code(format_code(SlateCode("K2TQ", 163 * 11_000_000_000, 12, None))).u_ms
    12
    >>> parse_code("S1K2TQ51X46BK0C4AAAA") is None
    True
    """
    if len(text) != LENGTH or not text.startswith(MARK) or set(text) - set(_DIGITS):
        return None
    body, check = text[:-4], text[-4:]
    if _check(body) != check:
        return None
    steps = int(body[15], 36)
    return SlateCode(
        clinic=body[2:6],
        instant_ms=int(body[6:13], 36) * PERIOD_MS,
        u_ms=int(body[13:15], 36),
        tone_u_ms=None if steps == NO_TONE else steps * TONE_STEP_MS,
    )


def _tone(tone_u_ms: int | None) -> str:
    if tone_u_ms is None:
        return _base36(NO_TONE, 1)
    return _base36(min(-(-tone_u_ms // TONE_STEP_MS), NO_TONE - 1), 1)


def _check(body: str) -> str:
    return _base36(_digest(body.encode("ascii")) % 36**4, 4)


def _digest(content: bytes) -> int:
    return int.from_bytes(hashlib.blake2b(content, digest_size=8, person=b"slate").digest(), "big")


def _base36(number: int, width: int) -> str:
    digits = ""
    for _ in range(width):
        number, rest = divmod(number, 36)
        digits = _DIGITS[rest] + digits
    if number:
        raise ValueError(f"more than {width} characters are needed")
    return digits
