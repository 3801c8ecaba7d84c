"""Metres in a picture: the plane through the swum lane, from marks of known place.

A homography maps picture to plane. Four marks make it, more of them show how well it fits. It
holds in its plane only: picture_cautions.py says what a body beside it costs, and what a
flat port makes of points away from the picture's middle. Lens distortion is not modelled, and
shows in the residuals of five marks or more. It holds for one camera that stands still; for a
camera that pans or walks it would be another one in each frame, so none is made.

Picture coordinates are pixels with y downward, as a mark on a frame has them; plane coordinates
metres, x along the course from the start wall, y across from the swum lane's side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from feedback.compute.measuring import homography
from feedback.compute.measuring.homography import Floats
from feedback.compute.measuring.uncertain import Quantity, Shape, Source

LEAST_MARKS, MOST_MARKS = 4, 40
CLICK_U_PX = 1.5  # how well a person sets a mark (judgement, no source)
MARK_U_M = 0.02  # how well a deck marker stands at its place with a tape measure (judgement)


@dataclass(frozen=True)
class Known:
    """A mark of known place. `u_m`: standard uncertainty of that place, along and across."""

    px: float
    py: float
    x_m: float
    y_m: float
    u_m: float = MARK_U_M


@dataclass(frozen=True)
class Spot:
    """A place in the plane, metres. `outside`: not between the marks that made the plane, where
    it is the less sure the further out."""

    x: Quantity
    y: Quantity
    outside: bool


@dataclass(frozen=True, eq=False)
class Plane:
    """`matrix` (3 x 3) maps picture to metres. `residual_px`: root mean square of what each mark
    is off in the picture, None with four marks, which always fit. `weights`: what each mark is
    worth (homography.weights)."""

    key: str
    matrix: Floats
    covariance: Floats
    marks: tuple[Known, ...]
    residual_px: float | None
    weights: Floats
    click_u_px: float

    def spot(self, px: float, py: float, key: str, *, click_u_px: float | None = None) -> Spot:
        """Where a pixel lies. `key` names the click, for its own error; the error of the plane
        is shared by all its spots, so it largely drops out of a short distance.

        BadInput: the pixel is at or above the plane's horizon."""
        x_m, y_m, jacobian, by_plane = self._at(px, py)
        click = self.click_u_px if click_u_px is None else click_u_px
        parts: list[dict[Source, float]] = [{}, {}]
        for axis in (0, 1):
            for n, name in enumerate(("px", "py")):
                source = Source(f"click {key} {name}", Shape.BELL, click)
                parts[axis][source] = float(jacobian[axis, n])
            for n, c in enumerate(by_plane[axis]):
                parts[axis][Source(f"plane {self.key} {n}", Shape.BELL, 1.0)] = float(c)
        outside = not homography.inside([(one.px, one.py) for one in self.marks], (px, py))
        return Spot(Quantity(x_m, parts[0]), Quantity(y_m, parts[1]), outside)

    def _at(self, px: float, py: float) -> tuple[float, float, Floats, Floats]:
        h = self.matrix
        u, v, w = h @ np.array([px, py, 1.0])
        if w * self._side() <= 1e-12:
            told = _(
                "This point is at the horizon of the plane or above it: it is not in the water."
            )
            raise BadInput([("", told)])
        x_m, y_m = float(u / w), float(v / w)
        jacobian = np.array(
            [
                [(h[0, n] - x_m * h[2, n]) / w for n in (0, 1)],
                [(h[1, n] - y_m * h[2, n]) / w for n in (0, 1)],
            ]
        )
        p = np.array([px, py, 1.0])
        zero = np.zeros(3)
        by_h = (
            np.array(
                [np.concatenate([p, zero, -x_m * p[:2]]), np.concatenate([zero, p, -y_m * p[:2]])]
            )
            / w
        )
        return x_m, y_m, jacobian, by_h @ homography.root(self.covariance)

    def _side(self) -> float:
        """The sign of the plane's near side: that of its marks."""
        first = self.marks[0]
        return math.copysign(1.0, float(self.matrix[2] @ np.array([first.px, first.py, 1.0])))

    def pixel(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Where a place of the plane is in the picture: to draw a line at a distance."""
        u, v, w = np.linalg.solve(self.matrix, np.array([x_m, y_m, 1.0]))
        return float(u / w), float(v / w)


def fit_plane(marks: Sequence[Known], *, key: str, click_u_px: float = CLICK_U_PX) -> Plane:
    """The plane of at least four marks of which no three that are needed lie in a line.

    BadInput names the marks by their number, from 1 on.

    >>> corners = [Known(0, 0, 0.0, 0.0), Known(100, 0, 10.0, 0.0), Known(100, 50, 10.0, 5.0),
    ...            Known(0, 50, 0.0, 5.0)]
    >>> spot = fit_plane(corners, key="p").spot(50, 25, "a")
    >>> round(spot.x.value, 6), round(spot.y.value, 6), spot.outside
    (5.0, 2.5, False)
    """
    _refuse(marks)
    picture = np.array([(one.px, one.py) for one in marks], dtype=float)
    metres = np.array([(one.x_m, one.y_m) for one in marks], dtype=float)
    matrix = homography.transformation(picture, metres)
    u_m = np.array([one.u_m for one in marks])
    weights = homography.weights(matrix, picture, u_m, click_u_px)
    if len(marks) > LEAST_MARKS:
        matrix = homography.refined(matrix, picture, metres, weights)
    _in_front(matrix, picture)
    covariance = homography.covariance(matrix, picture, weights)
    if len(marks) > LEAST_MARKS:
        covariance = covariance * _worse_than_said(matrix, picture, metres, weights)
    off_px = homography.off_px(matrix, picture, metres)
    spare = len(marks) > LEAST_MARKS
    return Plane(
        key=key,
        matrix=matrix,
        covariance=covariance,
        marks=tuple(marks),
        residual_px=float(np.sqrt(np.mean(off_px**2))) if spare else None,
        weights=weights,
        click_u_px=click_u_px,
    )


def worst_mark(plane: Plane) -> tuple[int, float] | None:
    """Index of the mark without which the others fit best, and by how many pixels it is off
    then. None with five marks or fewer: of those nobody can tell which one it is."""
    picture = np.array([(one.px, one.py) for one in plane.marks], dtype=float)
    metres = np.array([(one.x_m, one.y_m) for one in plane.marks], dtype=float)
    if len(picture) < LEAST_MARKS + 2:
        return None
    tried: list[tuple[float, int, float]] = []
    for n in range(len(picture)):
        keep = np.arange(len(picture)) != n
        points = [(float(x), float(y)) for x, y in picture[keep]]
        if not homography.has_four_corners(points):
            continue
        matrix = homography.transformation(picture[keep], metres[keep])
        matrix = homography.refined(matrix, picture[keep], metres[keep], plane.weights[keep])
        off_px = homography.off_px(matrix, picture, metres)
        tried.append((float(np.sum(off_px[keep] ** 2)), n, float(off_px[n])))
    if not tried:
        return None
    _left, n, off = min(tried)
    return n, off


def _refuse(marks: Sequence[Known]) -> None:
    errors = []
    if not LEAST_MARKS <= len(marks) <= MOST_MARKS:
        told = _(
            "A plane needs from %(least)s to %(most)s marks of known place; there are %(count)s.",
            least=LEAST_MARKS,
            most=MOST_MARKS,
            count=len(marks),
        )
        raise BadInput([("marks", told)])
    for n, one in enumerate(marks, start=1):
        if not all(math.isfinite(v) for v in (one.px, one.py, one.x_m, one.y_m, one.u_m)):
            errors.append((f"mark {n}", _("has no place.")))
    if errors:
        raise BadInput(errors)
    for where, points in (
        (_("in the picture"), [(one.px, one.py) for one in marks]),
        (_("in the pool"), [(one.x_m, one.y_m) for one in marks]),
    ):
        if not homography.has_four_corners(points):
            told = _(
                "%(numbers)s lie in one line %(where)s. Four marks are needed of which no three "
                "do: take two on each side of the lane.",
                numbers=homography.flat_ones(points),
                where=where,
            )
            raise BadInput([("marks", told)])


def _worse_than_said(matrix: Floats, picture: Floats, metres: Floats, weights: Floats) -> float:
    """By how much the marks scatter more than they should, squared and at least 1: marks that do
    not fit make every place less sure (the reduced chi-square)."""
    left = homography.weighed(weights, homography.moved(matrix, picture) - metres)
    freedom = left.size - matrix.size + 1
    return max(1.0, float(np.sum(left**2)) / freedom)


def _in_front(matrix: Floats, picture: Floats) -> None:
    """All marks lie on one side of the horizon, or the places were mixed up."""
    w = np.column_stack([picture, np.ones(len(picture))]) @ matrix[2]
    if not (np.all(w > 0) or np.all(w < 0)):
        told = _(
            "These places cannot be seen so from one side. Two marks were mixed up: look at "
            "their order."
        )
        raise BadInput([("marks", told)])
