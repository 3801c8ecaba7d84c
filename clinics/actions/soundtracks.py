"""The sound that aligning hears, as it lies on disk."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clinics.models import Recording
from portal.models import StoredFile


def samples_of(recording: Recording) -> NDArray[np.int16] | None:
    """Mono at 8 kHz, sample k at media_s = k / 8000; memory-mapped, not to be written to.

    None if the recording has no sound, or it is deleted with the originals.
    """
    stored = recording.sound_track
    if stored is None or stored.state != StoredFile.State.READY or stored.size_bytes < 2:
        return None
    return np.memmap(stored.local_path(), dtype="<i2", mode="r", shape=(stored.size_bytes // 2,))
