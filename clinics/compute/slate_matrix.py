"""The slate's codes drawn as black and white modules, many at once, for a page to show."""

from __future__ import annotations

from functools import lru_cache

import segno

from clinics.compute.slate import PERIOD_MS, SlateCode, format_code

SIDE = 21
MASK = 2
"""One mask for all: then a picture that blends two codes at least has no doubt about the mask."""


@lru_cache(maxsize=64)
def matrices(
    clinic: str, first: int, count: int, u_ms: int, tone_u_ms: int | None
) -> tuple[str, ...]:
    """`count` codes from number `first` on: the SIDE * SIDE modules of each, row by row, 1 black,
    filled up with zeros to whole hexadecimal digits."""
    return tuple(
        _matrix(format_code(SlateCode(clinic, index * PERIOD_MS, u_ms, tone_u_ms)))
        for index in range(first, first + count)
    )


def _matrix(text: str) -> str:
    code = segno.make(
        text,
        version=1,
        error="m",
        mode="alphanumeric",
        mask=MASK,
        boost_error=False,
    )
    bits = "".join("1" if dark else "0" for row in code.matrix for dark in row)
    bits += "0" * (-len(bits) % 4)
    return f"{int(bits, 2):0{len(bits) // 4}x}"
