"""A camera beside the pool, drawn: where it sees a point of the lane, and planes of its picture
as people place them, with hands that are off."""

from __future__ import annotations

import numpy as np

from feedback.compute.measuring.plane import CLICK_U_PX, MARK_U_M, Known, Plane, fit_plane

# picture of metres (homogeneous): a camera beside the pool that looks at the lane from above
SEES = np.linalg.inv(
    np.array([[0.0125, 0.0006, -2.0], [0.0002, 0.021, -5.4], [4.0e-6, 9.0e-5, 1.0]], dtype=float)
)
MARKED = ((5.0, 0.0), (10.0, 0.0), (15.0, 0.0), (20.0, 0.0), (5.0, 2.5), (15.0, 2.5), (20.0, 2.5))


def pixel_of(x_m: float, y_m: float) -> tuple[float, float]:
    u, v, w = SEES @ np.array([x_m, y_m, 1.0])
    return float(u / w), float(v / w)


def clicked(x_m: float, y_m: float, rng: np.random.Generator | None = None) -> tuple[float, float]:
    px, py = pixel_of(x_m, y_m)
    if rng is None:
        return px, py
    return px + float(rng.normal(0, CLICK_U_PX)), py + float(rng.normal(0, CLICK_U_PX))


def placed_plane(rng: np.random.Generator | None = None, key: str = "p") -> Plane:
    """With `rng` each mark stands and is clicked as far off as people do."""
    marks = []
    for x_m, y_m in MARKED:
        off = rng.normal(0, MARK_U_M, 2) if rng else (0.0, 0.0)
        px, py = clicked(x_m + float(off[0]), y_m + float(off[1]), rng)
        marks.append(Known(px, py, x_m, y_m, MARK_U_M))
    return fit_plane(marks, key=key)
