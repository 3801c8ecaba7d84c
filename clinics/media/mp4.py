"""One repair of MP4 files that we wrote ourselves: take off the mark that says "turn me".

The picture is turned while rendering. Some versions of ffmpeg copy the original's mark into the
new file all the same (5.1 does when it is told not to turn the picture itself, and it must be told
so, since fields have to be separated first); a player would then turn the picture a second time.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

_NO_TURN = struct.pack(">9I", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)
_MATRIX_OFFSET = {0: 40, 1: 52}
"""From the end of a track header's own header to its matrix, by version (ISO/IEC 14496-12)."""


def clear_turn(path: Path) -> None:
    """Write the matrix "as it is" into every track header of an MP4 file, in place."""
    with path.open("r+b") as handle:
        handle.seek(0, 2)
        for moov in _boxes(handle, 0, handle.tell(), b"moov"):
            for trak in _boxes(handle, *moov, b"trak"):
                for begin, _ in _boxes(handle, *trak, b"tkhd"):
                    handle.seek(begin)
                    version = handle.read(1)[0]
                    handle.seek(begin + _MATRIX_OFFSET[version])
                    handle.write(_NO_TURN)


def _boxes(handle: BinaryIO, begin: int, end: int, wanted: bytes) -> Iterator[tuple[int, int]]:
    """Contents (begin, end) of the boxes of one kind that lie directly in a stretch of a file."""
    while begin + 8 <= end:
        handle.seek(begin)
        size, kind = struct.unpack(">I4s", handle.read(8))
        header = 8
        if size == 1:
            (size,) = struct.unpack(">Q", handle.read(8))
            header = 16
        if size < header:
            return
        if kind == wanted:
            yield begin + header, min(begin + size, end)
        begin += size
