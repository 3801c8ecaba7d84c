"""Points of the body as the page of a swim shows them: frames and figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.urls import reverse
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from clinics.models import Swim
from feedback.actions.body_told import Body, body_of
from feedback.actions.frames import frame_at, swim_s_at
from feedback.compute.measuring.angles import TURNS_DEG
from feedback.compute.measuring.body.figures import ENOUGH_SHARE, TO_SURFACE, Angle
from feedback.compute.measuring.body.points import LEVEL, PLACES, name_of
from feedback.models import BodyPoints
from feedback.views import body_words as words
from feedback.views.room_data import StationView
from portal.models import User

MOST_LABELS = 4  # more angles than that cover the body that they are of


@dataclass(frozen=True)
class ShownAngle:
    name: str
    figure: str
    plain: str
    turns: list[str]  # for each of TURNS_DEG
    says: str
    of: str
    source: str


@dataclass(frozen=True)
class PointRow:
    name: str
    x: str
    y: str


@dataclass(frozen=True)
class ShownBody:
    """`at_s` is the time of the frame, None: its clock is not known. `view` and `frame` are where
    it stands, None: no view shows that picture any more."""

    body: Body
    at_s: float | None
    view: StationView | None
    frame: int | None
    mine: bool

    @property
    def row(self) -> BodyPoints:
        return self.body.row

    @property
    def by(self) -> str:
        return str(self.row.placed_by or _("Somebody who is no longer here"))

    @cached_property
    def angles(self) -> list[ShownAngle]:
        return [_angle(one) for one in self.body.angles]

    @property
    def to_surface(self) -> bool:
        return any(one.kind in TO_SURFACE for one in self.body.angles)

    @property
    def has_level(self) -> bool:
        return self.body.seen.level is not None

    @property
    def centre_words(self) -> str:
        share = words.share_words(self.body.centre.share)
        if self.body.has_centre:
            return _("The mark stands for parts that are %(share)s of the body's mass.") % {
                "share": share
            }
        return _(
            "Not drawn yet: the points that are set stand for %(share)s of the body's mass, and "
            "it takes %(least)s."
        ) % {"share": share, "least": words.share_words(ENOUGH_SHARE)}

    @property
    def missing_words(self) -> list[str]:
        return words.missing_words(self.body.centre.missing)

    @property
    def table_words(self) -> str:
        return str(self.row.get_table_display())

    @property
    def points(self) -> list[PointRow]:
        """Every point, the ends of a level line, and the centre, in pixels of the picture."""
        wide, high = self.row.picture_width, self.row.picture_height
        rows = [
            _row(words.point_words(name), x * wide, y * high)
            for name, (x, y, *_finest) in sorted(self.row.points.items(), key=_in_order)
        ]
        centre = self.body.centre.at if self.body.has_centre else None
        return [*rows, _row(_("centre of mass"), *centre)] if centre else rows

    def for_script(self) -> dict[str, Any]:
        row, body = self.row, self.body
        centre = body.centre.at if body.has_centre else None
        wide, high = row.picture_width, row.picture_height
        return {
            "key": str(row.pk),
            "view": self.view.key if self.view else None,
            "frame": self.frame,
            "at_s": self.at_s,
            "mine": self.mine,
            "points": row.points,
            "centre": [centre[0] / wide, centre[1] / high] if centre else None,
            "share": words.share_words(body.centre.share),
            "labels": self._labels(),
            "tells": [
                {"of": [name_of(place) for place in one.of], "words": _in_a_row(one)}
                for one in body.angles
            ],
            "take_away": reverse("feedback:body-take-away", args=[row.pk]) if self.mine else None,
        }

    def _labels(self) -> list[list[Any]]:
        """Of joints, beside them in the picture: their places in parts of it, and the figure."""
        joints = [one for one in self.body.angles if one.side is not None]
        if len(joints) > MOST_LABELS:
            return []
        labels = []
        for one in joints:
            x, y, *_finest = self.row.points[name_of(one.of[1])]
            labels.append([x, y, f"{number_format(round(one.quantity.value), 0)}°"])
        return labels


def bodies_shown(swim: Swim, user: User, views: Sequence[StationView]) -> list[ShownBody]:
    """In order of swim time; what has none comes last. One query, however many there are."""
    rows = BodyPoints.objects.visible_to(user).filter(swim=swim)
    rows = rows.select_related("placed_by", "recording__clock_fit", "recording__station")
    shown = [_shown(swim, user, row, views) for row in rows]
    return sorted(shown, key=lambda one: (one.at_s is None, one.at_s or 0.0))


def _shown(swim: Swim, user: User, row: BodyPoints, views: Sequence[StationView]) -> ShownBody:
    view, frame = None, None
    for one in views:
        if one.clip.recording_id == row.recording_id and frame is None:
            frame = frame_at(one.clip, row.pts_ticks)
            view = one if frame is not None else None
    at_s = swim_s_at(swim, row.recording, row.pts_ticks)
    return ShownBody(body_of(row), at_s, view, frame, row.placed_by_id == user.pk)


def _angle(angle: Angle) -> ShownAngle:
    _name, says, source = words.ANGLES[angle.kind]
    return ShownAngle(
        name=words.angle_name(angle),
        figure=words.angle_figure(angle.quantity),
        plain=words.angle_plain(angle),
        turns=[words.turn_words(turn) for turn in angle.turns],
        says=str(says),
        of=words.from_words(angle),
        source=str(source),
    )


_ORDER = {name: n for n, name in enumerate((*PLACES, *LEVEL))}


def _in_order(point: tuple[str, Any]) -> int:
    """From head to toe: databases keep the names of a JSON object in orders of their own."""
    return _ORDER[point[0]]


def _in_a_row(angle: Angle) -> str:
    return _("%(angle)s %(figure)s") % {
        "angle": words.angle_name(angle),
        "figure": words.angle_figure(angle.quantity),
    }


def _row(name: str, x_px: float, y_px: float) -> PointRow:
    return PointRow(name, number_format(round(x_px, 1), 1), number_format(round(y_px, 1), 1))


TURNS = [f"{deg:g}°" for deg in TURNS_DEG]
