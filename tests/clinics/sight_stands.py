"""Cameras beside and in a pool of 50 m, for the tests of what they see."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st

from clinics.compute.sight import Pool, Stand

ANGLES = st.floats(min_value=2.0, max_value=160.0)
LONG = Pool(course_m=50.0, lanes=6)
quick = settings(max_examples=60, deadline=None)


def stand(kind: str, x_m: float, y_m: float, z_m: float, **more: object) -> Stand:
    return Stand(kind, kind, x_m, y_m, z_m, **more)  # type: ignore[arg-type]
