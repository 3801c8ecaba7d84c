"""The views of a swim as the room shows them: clips, clocks, files, how sure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import Prefetch
from django.urls import reverse
from numpy.typing import NDArray

from clinics.compute.sureness import Sureness, how_sure, together_ms
from clinics.compute.time import TICKS_PER_S, seconds_between
from clinics.models import Clip, ClipFile, ClockFit, Swim
from clinics.views.words import sure_words
from feedback.actions.frames import pts_ticks_of, swim_s_at, ticks_of
from feedback.views.on_strip import clip_names
from portal.models import User


@dataclass(frozen=True)
class StationView:
    """A clip as the page shows it. `zero_s` is swim_s at media_s = 0 of its recording."""

    clip: Clip
    name: str
    poster: ClipFile | None
    videos: list[ClipFile]  # small to large
    first_ticks: int
    zero_s: float
    rate: float
    fit: ClockFit | None
    u_ms: float | None
    sure: str
    sure_class: str
    sure_kind: str
    sound: ClipFile | None = None  # only where this viewer may hear it

    @property
    def key(self) -> str:
        return str(self.clip.pk)

    @property
    def from_s(self) -> float:
        """Swim time of its first frame."""
        return self.zero_s + self.first_ticks / TICKS_PER_S * self.rate

    @property
    def to_s(self) -> float:
        length_s = (self.clip.out_ticks - self.clip.in_ticks) / TICKS_PER_S
        return self.from_s + length_s * self.rate

    @property
    def width_px(self) -> int:
        """Of its largest rendition, as its height: what drawings are laid over."""
        return max((_width_px(video) for video in self.videos), default=16)

    @property
    def height_px(self) -> int:
        return max((video.height or 9 for video in self.videos), default=9)

    def for_script(self) -> dict[str, Any]:
        """Times of a view in swim_s; `from_s` to `to_s` is what its clip covers, `seen_…` when
        the swimmer is in picture."""
        poster = reverse("clinics:clip-file", args=[self.poster.pk]) if self.poster else None
        return {
            "key": self.key,
            "name": self.name,
            "station": str(self.clip.station_id),
            "kind": self.clip.station.kind,
            "pass_no": self.clip.pass_no,
            "renditions": [_rendition(video) for video in self.videos],
            "sound": _sound(self.sound) if self.sound else None,
            "poster": poster,
            "zero_s": self.zero_s,
            "rate": self.rate,
            "first_ticks": self.first_ticks,
            "frame_count": self.clip.frame_count,
            "from_s": self.from_s,
            "to_s": self.to_s,
            "seen_from_s": self.clip.seen_from_s,
            "seen_to_s": self.clip.seen_to_s,
            "sure": self.sure,
            "sure_kind": self.sure_kind,
            "u_ms": self.u_ms,
        }


def _width_px(video: ClipFile) -> int:
    return video.width or round((video.height or 9) * 16 / 9)


def _rendition(video: ClipFile) -> dict[str, Any]:
    return {
        "height": video.height,
        "width": _width_px(video),
        "size_bytes": video.stored.size_bytes,
        "url": reverse("clinics:clip-file", args=[video.pk]),
        "frames": reverse("clinics:clip-file-frames", args=[video.pk]),
    }


def _sound(file: ClipFile) -> dict[str, Any]:
    return {
        "url": reverse("clinics:clip-file", args=[file.pk]),
        "starts_at_s": file.starts_at_ticks / TICKS_PER_S,
    }


SURE_CLASS = {Sureness.LOOK: "look", Sureness.NOT_FOUND: "unknown"}


def _view(swim: Swim, clip: Clip, name: str) -> StationView:
    fit: ClockFit | None = getattr(clip.recording, "clock_fit", None)
    zero_at = fit.zero_at if fit is not None else None
    found = fit if zero_at is not None else None
    ticks = ticks_of(clip.recording)
    first_ticks = clip.in_ticks if ticks is None else pts_ticks_of(clip, 0)
    rate = 1.0 + found.rate_ppm * 1e-6 if found else 1.0
    expected = clip.seen_from_s - first_ticks / TICKS_PER_S * rate
    u_ms = together_ms(found.u_ms or 0.0, swim.start_u_ms) if found else None
    frame_ms = 1000.0 * (clip.out_ticks - clip.in_ticks) / TICKS_PER_S / clip.frame_count
    sure = how_sure(state=found.state if found else "not-found", u_ms=u_ms, frame_ms=frame_ms)
    files = list(clip.files.all())
    videos = [file for file in files if file.kind == ClipFile.Kind.VIDEO]
    return StationView(
        clip=clip,
        name=name,
        poster=next((file for file in files if file.kind == ClipFile.Kind.POSTER), None),
        videos=sorted(videos, key=lambda video: video.height or 0),
        first_ticks=first_ticks,
        zero_s=expected if zero_at is None else seconds_between(swim.start_at, zero_at),
        rate=rate,
        fit=found,
        u_ms=u_ms,
        sure=sure_words(sure),
        sure_class=SURE_CLASS.get(sure.kind, ""),
        sure_kind=SURE_CLASS.get(sure.kind, "sure"),
        sound=next((file for file in files if file.kind == ClipFile.Kind.SOUND), None),
    )


def views_of(swim: Swim, user: User) -> list[StationView]:
    """The swim's views in order of time. Only what the fence lets through."""
    files = ClipFile.objects.visible_to(user).select_related("stored")
    clips = Clip.objects.visible_to(user).filter(swim=swim)
    clips = clips.select_related("station", "recording__clock_fit")
    names = clip_names(clips.prefetch_related(Prefetch("files", files)))
    return [_view(swim, clip, name) for clip, name in names.items()]


@dataclass(frozen=True)
class Opening:
    """Which frame of which view is on screen when the page opens."""

    view: StationView
    frame: int
    media_s: float
    at_s: float | None
    asked: bool  # by the address (`?view=…&at=…`), not by default


def opening(swim: Swim, views: list[StationView], asked: Any) -> Opening | None:
    """The frame that the address asks for; else where the first view has the swimmer first.

    What makes no sense in an address opens the page as if it were not there.
    """
    wanted = [view for view in views if view.key == asked.get("view")]
    if not views:
        return None
    view = (wanted or views)[0]
    frame, by_address = _asked_frame(view.clip, asked.get("at", "")) if wanted else (0, False)
    ticks = ticks_of(view.clip.recording)
    if ticks is None:
        return Opening(view, frame, 0.0, None, False)
    if not by_address:
        frame = _first_with_swimmer(view, ticks)
    first = view.clip.first_frame
    here = int(ticks[first + frame])
    after = int(ticks[min(first + frame + 1, len(ticks) - 1)])
    media_s = ((here + max(after, here + 2)) / 2 - view.first_ticks) / TICKS_PER_S
    at_s = swim_s_at(swim, view.clip.recording, here)
    return Opening(view, frame, media_s, at_s, by_address)


def _first_with_swimmer(view: StationView, ticks: NDArray[np.int64]) -> int:
    seen_ticks = (view.clip.seen_from_s - view.zero_s) / view.rate * TICKS_PER_S
    frame = int(np.searchsorted(ticks, seen_ticks)) - view.clip.first_frame
    return min(max(frame, 0), view.clip.frame_count - 1)


def _asked_frame(clip: Clip, text: str) -> tuple[int, bool]:
    if text.isascii() and text.isdigit() and len(text) < 9 and int(text) < clip.frame_count:
        return int(text), True
    return 0, False
