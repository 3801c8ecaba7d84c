"""A swim's views as films alone, for those who see nothing of what was said: plain players."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.db.models import Prefetch, QuerySet
from django.urls import reverse

from clinics.models import Clip, ClipFile
from feedback.views.on_strip import clip_names

HEIGHT_PX = 720  # a phone shows no more; what is larger is for who steps through frames


@dataclass(frozen=True)
class Film:
    clip: Clip
    name: str
    video: str
    poster: str
    sound: str
    width_px: int
    height_px: int


def url_of(file: ClipFile) -> str:
    return reverse("clinics:clip-file", args=[file.pk])


def films_of(
    clips: QuerySet[Clip],
    files: QuerySet[ClipFile],
    url: Callable[[ClipFile], str] = url_of,
) -> list[Film]:
    """`clips` and `files` as the fence lets them through to whoever looks. Two queries."""
    rows = clips.select_related("station").prefetch_related(Prefetch("files", files))
    found = (_film(clip, name, url) for clip, name in clip_names(rows).items())
    return [film for film in found if film is not None]


def _film(clip: Clip, name: str, url: Callable[[ClipFile], str]) -> Film | None:
    files = list(clip.files.all())
    videos = [file for file in files if file.kind == ClipFile.Kind.VIDEO]
    if not videos:
        return None
    video = _for_a_phone(videos)
    of_kind = {file.kind: url(file) for file in files if file.kind != ClipFile.Kind.VIDEO}
    return Film(
        clip=clip,
        name=name,
        video=url(video),
        poster=of_kind.get(ClipFile.Kind.POSTER, ""),
        sound=of_kind.get(ClipFile.Kind.SOUND, ""),
        width_px=video.width or 640,
        height_px=video.height or 360,
    )


def _for_a_phone(videos: list[ClipFile]) -> ClipFile:
    fitting = [video for video in videos if (video.height or 0) <= HEIGHT_PX]
    if fitting:
        return max(fitting, key=lambda video: video.height or 0)
    return min(videos, key=lambda video: video.height or 0)
