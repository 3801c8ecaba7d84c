"""A coarse place from the date in a recording's file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from clinics.compute.clockfit.types import FILE_DATE, LOOK, RecordingFit, RecordingIn, not_found

FILE_DATE_U_MS = 2000.0


def fit_by_file_date(
    recording: RecordingIn,
    file_date_s: float | None,
    starts_s: Sequence[float],
    fitted_of_camera: Sequence[tuple[float, float]] = (),
) -> RecordingFit:
    """A coarse place for a recording without ties: the date in its file, within about 2 s.

    `fitted_of_camera` are (file date, fitted zero) of other recordings of the same camera:
    their difference says how wrong that camera's clock was set, and it is taken off. The date
    is believed only if the recording then has at least one start of the log in it; a clock set
    wrong by hours has none.
    """
    if file_date_s is None:
        return not_found(recording.key, "No tie, and its file has no date.")
    wrong_s = float(np.median([date - zero for date, zero in fitted_of_camera] or [0.0]))
    zero_s = file_date_s - wrong_s
    spare_s = FILE_DATE_U_MS / 1000
    inside = [
        start
        for start in starts_s
        if zero_s - spare_s <= start <= zero_s + recording.duration_s + spare_s
    ]
    if not inside:
        return not_found(
            recording.key,
            "By its file's date it has no start of the log in it: the camera's clock was set "
            "wrong, or it filmed something else. Place a tie.",
        )
    coarse = not_found(recording.key, "From the file's date alone, within some 2 s. Place a tie.")
    return replace(
        coarse,
        zero_s=zero_s,
        u_ms=FILE_DATE_U_MS,
        u_begin_ms=FILE_DATE_U_MS,
        u_mid_ms=FILE_DATE_U_MS,
        u_end_ms=FILE_DATE_U_MS,
        state=LOOK,
        method=FILE_DATE,
    )
