"""Stored planes as metres in a picture: which plane holds on a frame, for many recordings in one
query. A plane is fitted when it is first asked for; nothing computed is stored."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from uuid import UUID

from clinics.compute.errors import BadInput
from feedback.compute.measuring.plane import Known, Plane, Spot, fit_plane
from feedback.models import PicturePlane


@dataclass(frozen=True)
class HeldPlane:
    """A plane as it was placed. `width`, `height`: pixels of the picture in parts of which the
    marks are given; `distance_m`: from camera to plane, None where nobody said it."""

    row: PicturePlane

    @property
    def key(self) -> str:
        return str(self.row.pk)

    @property
    def width(self) -> int:
        return self.row.picture_width

    @property
    def height(self) -> int:
        return self.row.picture_height

    @property
    def under_water(self) -> bool:
        return self.row.under_water

    @property
    def distance_m(self) -> float | None:
        return self.row.distance_m

    def holds_at(self, pts_ticks: int) -> bool:
        return holds_at(self.row, pts_ticks)

    @cached_property
    def fitted(self) -> Plane | None:
        """None: its marks make no plane any more, as after a repair by hand in the database."""
        try:
            marks = known_marks(self.row.points, self.width, self.height)
            return fit_plane(marks, key=self.key)
        except (BadInput, ArithmeticError, LookupError, TypeError, ValueError):
            return None

    @property
    def plane(self) -> Plane:
        if self.fitted is None:
            raise BadInput([("marks", f"plane {self.key} has no four marks that make one")])
        return self.fitted

    def spot(self, x: float, y: float, key: str) -> Spot:
        """Where a place of the picture lies, `x` and `y` in parts of its width and height (0 to
        1). `key` names the click. BadInput: at the plane's horizon or above it."""
        return self.plane.spot(x * self.width, y * self.height, key)


class HeldPlanes:
    """The planes of some recordings, newest first."""

    def __init__(self, rows: Iterable[PicturePlane]) -> None:
        self._of: dict[UUID, list[HeldPlane]] = defaultdict(list)
        for row in rows:
            self._of[row.recording_id].append(HeldPlane(row))

    def of(self, recording_id: UUID) -> list[HeldPlane]:
        return list(self._of.get(recording_id, ()))

    def at(self, recording_id: UUID, pts_ticks: int) -> HeldPlane | None:
        """The newest that holds there. One whose marks make no plane is none, and no older one
        takes its place: it was placed because the older one did not do."""
        for held in self._of.get(recording_id, ()):
            if held.holds_at(pts_ticks):
                return held if held.fitted is not None else None
        return None


def held_planes(recordings: Iterable[UUID]) -> HeldPlanes:
    """One query; none without recordings. Who may see the recordings' swims was asked before."""
    keys = set(recordings)
    if not keys:
        return HeldPlanes([])
    rows = PicturePlane.objects.filter(recording__in=keys).select_related("placed_by")
    return HeldPlanes(rows.order_by("-placed_at", "-pk"))


def holds_at(row: PicturePlane, pts_ticks: int) -> bool:
    """`from_ticks` and `to_ticks` both count; null: to that end of the recording."""
    after = row.from_ticks is None or row.from_ticks <= pts_ticks
    return after and (row.to_ticks is None or pts_ticks <= row.to_ticks)


def known_marks(points: Iterable[dict[str, Any]], width: int, height: int) -> list[Known]:
    return [
        Known(
            px=float(one["x"]) * width,
            py=float(one["y"]) * height,
            x_m=float(one["along_m"]),
            y_m=float(one["across_m"]),
            u_m=float(one["u_m"]),
        )
        for one in points
    ]
