"""Tomas's swim from four places, as what one takes along is made of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.test import Client
from django.urls import reverse

from clinics.models import Clip
from feedback.actions import take_along as acts
from feedback.compute.take_along import Kind, Spec
from feedback.models import TakeAlong
from portal.actions.job_worker import drain
from portal.models import User
from tests.cast import Cast, sign_in
from tests.feedback.painted_room import Station4

SIZE = (640, 360)
HTMX = {"HX-Request": "true"}


@dataclass
class Filmed:
    """Tomas's swim from four places."""

    cast: Cast
    clips: list[Clip]
    stations: list[Station4]

    def spec(self, kind: Kind, *places: int, frames: tuple[int, int], **more: Any) -> Spec:
        clips = [self.clips[place] for place in places]
        names = tuple(clip.station.name for clip in clips)
        return Spec(kind, tuple(str(clip.pk) for clip in clips), names, *frames, **more)

    def still(self, frame: int = 30, place: int = 1, **more: Any) -> Spec:
        return self.spec(Kind.STILL, place, frames=(frame, frame), **more)

    def ask(self, spec: Spec, by: User | None = None, **more: Any) -> TakeAlong:
        by = by or self.cast.coach
        return acts.ask(swim=self.cast.swims["tomas"], by=by, spec=spec, **more)

    def made(self, spec: Spec, by: User | None = None, **more: Any) -> TakeAlong:
        row = self.ask(spec, by, **more)
        drain()
        row.refresh_from_db()
        assert row.state == TakeAlong.State.READY, row.reason
        return row

    def time(self, place: int, frame: int) -> str:
        """As it is written beside the frame."""
        return f"{float(self.stations[place].edges_s[frame]):.2f} s"


def path_of(row: TakeAlong) -> Path:
    assert row.stored is not None
    return row.stored.local_path()


def url(filmed: Filmed) -> str:
    return reverse("feedback:take-along", args=[filmed.cast.swims["tomas"].pk])


def file_url(row: TakeAlong) -> str:
    return reverse("feedback:take-along-file", args=[row.pk])


def fetched(user: User, row: TakeAlong, **headers: str) -> int:
    answer = sign_in(Client(), user).get(file_url(row), headers=headers)
    assert b"".join(answer) if answer.streaming else answer.content  # type: ignore[union-attr]
    return int(answer.status_code)
