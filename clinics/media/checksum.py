"""Checksums of files of any size, read in pieces."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

CHUNK_BYTES = 4 << 20


def sha256_file(path: Path, on_progress: Callable[[float], None] | None = None) -> str:
    """SHA-256 of a file as 64 hexadecimal digits; ``on_progress`` gets 0 to 1 as it goes.

    Constant memory. ``on_progress`` may raise to stop (a cancelled job).
    """
    digest = hashlib.sha256()
    total_bytes = max(path.stat().st_size, 1)
    done_bytes = 0
    with path.open("rb") as handle:
        while chunk := handle.read(CHUNK_BYTES):
            digest.update(chunk)
            done_bytes += len(chunk)
            if on_progress is not None:
                on_progress(min(done_bytes / total_bytes, 1.0))
    return digest.hexdigest()
