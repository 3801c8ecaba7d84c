"""What one decode of a clip is to make: the sizes of its web video, sound, poster and strip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clinics.media.masks import Mask
from clinics.media.pictures import Span, shown_size

LADDER = (720, 540, 360)
DEFAULT_HEIGHT = 540
POSTER_MIN_HEIGHT = 360
STRIP_STILLS = 10
STRIP_HEIGHT = 90


@dataclass(frozen=True)
class RenditionSpec:
    """One size of web video: pixels high, seconds between key frames, x264's quality."""

    height: int
    gop_s: float = 0.25
    crf: int = 23


def default_renditions(source_height: int) -> list[RenditionSpec]:
    """The usual sizes for a source so high, largest first; none larger than the source.

    >>> [spec.height for spec in default_renditions(1080)]
    [720, 540, 360]
    >>> [spec.height for spec in default_renditions(480)]
    [480, 360]
    """
    heights = {height for height in LADDER if height <= source_height}
    heights.add(min(source_height, DEFAULT_HEIGHT))
    return [RenditionSpec(height) for height in sorted(heights, reverse=True)]


@dataclass(frozen=True)
class RenderPlan:
    """What one decode makes: sizes from large to small, each scaled from the one before."""

    span: Span
    sizes: tuple[tuple[int, int, RenditionSpec], ...]
    with_sound: bool
    masks: tuple[Mask, ...]
    poster_frame: int

    @classmethod
    def of(
        cls,
        span: Span,
        renditions: Sequence[RenditionSpec],
        with_sound: bool,
        masks: Sequence[Mask],
        poster_frame: int | None,
    ) -> RenderPlan:
        if not renditions:
            raise ValueError("a clip needs at least one rendition")
        sizes: dict[int, tuple[int, int, RenditionSpec]] = {}
        for spec in sorted(renditions, key=lambda spec: -spec.height):
            width, height = shown_size(span.source, spec.height)
            sizes.setdefault(height, (width, height, spec))
        middle = span.frame_count // 2 if poster_frame is None else poster_frame
        return cls(
            span=span,
            sizes=tuple(sizes.values()),
            with_sound=with_sound and span.source.take.has_audio,
            masks=tuple(masks),
            poster_frame=min(max(middle, 0), span.frame_count - 1),
        )

    @property
    def names(self) -> list[str]:
        videos = [video_name(height) for _, height, _ in self.sizes]
        return [*videos, "sound.m4a", "poster.jpg", "strip.jpg"]

    @property
    def poster_at(self) -> int:
        """Which size the poster is taken from: the smallest that is large enough."""
        fit = [n for n, (_, height, _) in enumerate(self.sizes) if height >= POSTER_MIN_HEIGHT]
        return fit[-1] if fit else 0

    @property
    def strip_frames(self) -> list[int]:
        """Pictures of the strip: evenly over the clip, each in the middle of its share."""
        count = min(STRIP_STILLS, self.span.frame_count)
        return [int((n + 0.5) * self.span.frame_count / count) for n in range(count)]

    @property
    def strip_still_size(self) -> tuple[int, int]:
        return shown_size(self.span.source, STRIP_HEIGHT)


def video_name(height: int) -> str:
    """File name of a rendition."""
    return f"{height}.mp4"
