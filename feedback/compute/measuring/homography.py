"""The arithmetic of a plane in the picture: homographies from points, what they are worth, and
which points make none. Arrays are (n, 2); a homography is (3, 3) with its last entry 1.

Estimation: normalised direct linear transformation (Hartley and Zisserman, Multiple View Geometry,
2nd edition, algorithm 4.2, from memory), then least squares, each point by what it is worth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np
import scipy
from numpy.typing import NDArray

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _

Floats = NDArray[np.float64]
Points = Sequence[tuple[float, float]]
FLAT = 0.01  # height of a triangle of points against its longest side: below this it is a line


def has_four_corners(points: Points) -> bool:
    """Whether some four of the points have no three in a line."""
    flat = {trio for trio in combinations(range(len(points)), 3) if _is_flat(points, trio)}
    if not flat:
        return True
    return any(
        not any(trio in flat for trio in combinations(four, 3))
        for four in combinations(range(len(points)), 4)
    )


def _is_flat(points: Points, trio: tuple[int, ...]) -> bool:
    a, b, c = (points[n] for n in trio)
    sides = [math.dist(a, b), math.dist(b, c), math.dist(c, a)]
    doubled = abs((b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]))
    return doubled <= FLAT * max(sides) ** 2


def flat_ones(points: Points) -> str:
    for trio in combinations(range(len(points)), 3):
        if _is_flat(points, trio):
            return ", ".join(str(n + 1) for n in trio)
    return ""


def transformation(picture: Floats, metres: Floats) -> Floats:
    """Normalised direct linear transformation; scaled so that its last entry is 1."""
    t, s = _normaliser(picture), _normaliser(metres)
    p, q = moved(t, picture), moved(s, metres)
    rows = []
    for (x, y), (u, v) in zip(p, q, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y, -u])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y, -v])
    _u, _s, vt = np.linalg.svd(np.array(rows))
    matrix = np.linalg.solve(s, vt[-1].reshape(3, 3) @ t)
    if abs(matrix[2, 2]) < 1e-12 * np.abs(matrix).max():
        told = _("The picture's corner lies on the plane's horizon. Set other marks.")
        raise BadInput([("marks", told)])
    return np.asarray(matrix / matrix[2, 2])


def _normaliser(points: Floats) -> Floats:
    """Moves the points' middle to 0 and their mean distance from it to sqrt(2)."""
    middle = points.mean(axis=0)
    scale = math.sqrt(2) / np.linalg.norm(points - middle, axis=1).mean()
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1]])


def moved(matrix: Floats, points: NDArray[np.floating]) -> Floats:
    ones = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(ones[:, :2] / ones[:, 2:])


def weights(matrix: Floats, picture: Floats, u_m: Floats, click_u_px: float) -> Floats:
    """What each mark is worth, as matrices (n, 2, 2) that make of an error in metres one of
    standard uncertainty 1 along both axes: of the mark's place, and of its click as far as it is
    moved there. Looked at from the side a pixel is many times as long across as along, so a click
    is no one number of metres."""
    half = 0.5 * np.eye(2)
    per_px = np.stack([moved(matrix, picture + d) - moved(matrix, picture - d) for d in half], 2)
    clicked = click_u_px**2 * per_px @ per_px.transpose(0, 2, 1)
    placed = np.maximum(u_m, 1e-9)[:, None, None] ** 2 * np.eye(2)
    return np.asarray(np.linalg.inv(np.linalg.cholesky(placed + clicked)))


def weighed(weight: Floats, errors: Floats) -> Floats:
    """Errors of marks, (n, 2) in metres, in units of what they may be off."""
    return np.asarray(np.einsum("nij,nj->ni", weight, errors))


def refined(matrix: Floats, picture: Floats, metres: Floats, weight: Floats) -> Floats:
    """Least squares of what is left, each mark by what it is worth."""
    scale = np.abs(matrix.ravel()[:8])

    def left(h: Floats) -> Floats:
        made = np.append(h * scale, 1.0).reshape(3, 3)
        return weighed(weight, moved(made, picture) - metres).ravel()

    scale = np.where(scale > 0, scale, 1.0)
    found = scipy.optimize.least_squares(left, matrix.ravel()[:8] / scale, method="lm")
    return np.append(found.x * scale, 1.0).reshape(3, 3)


def covariance(matrix: Floats, picture: Floats, weight: Floats) -> Floats:
    """Of the eight numbers, from what each mark is worth (8 x 8)."""
    rows = []
    made = moved(matrix, picture)
    for (px, py), (x_m, y_m), by in zip(picture, made, weight, strict=True):
        w = matrix[2] @ np.array([px, py, 1.0])
        along = [px, py, 1, 0, 0, 0, -x_m * px, -x_m * py]
        across = [0, 0, 0, px, py, 1, -y_m * px, -y_m * py]
        rows.append(by @ np.array([along, across]) / w)
    design = np.concatenate(rows)
    scale = np.linalg.norm(design, axis=0)
    inverse = np.linalg.pinv(design / scale)
    whitened = (inverse @ inverse.T) / np.outer(scale, scale)
    return np.asarray(whitened)


def root(covariance: Floats) -> Floats:
    """A square root of it, from its eigenvectors: it may be singular to within rounding."""
    scale = np.sqrt(np.diag(covariance))
    scale = np.where(scale > 0, scale, 1.0)
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    return np.asarray(scale[:, None] * vectors * np.sqrt(np.maximum(values, 0.0)))


def off_px(matrix: Floats, picture: Floats, metres: Floats) -> Floats:
    back = moved(np.asarray(np.linalg.inv(matrix), dtype=np.float64), metres)
    return np.asarray(np.linalg.norm(back - picture, axis=1))


def inside(corners: Points, point: tuple[float, float]) -> bool:
    """Whether the point lies within the marks' hull: of no line through two marks are all marks
    on one side and the point on the other."""
    for a, b in combinations(corners, 2):
        sides = [_turn(a, b, c) for c in corners]
        here = _turn(a, b, point)
        if all(side >= -1e-9 for side in sides) and here < -1e-9:
            return False
        if all(side <= 1e-9 for side in sides) and here > 1e-9:
            return False
    return True


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
