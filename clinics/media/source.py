"""How ffmpeg opens a take: one file, several files as one byte stream, or a list of chapters."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from clinics.media.formats import FORMAT_WHITELIST, guarded_open
from clinics.media.sandbox import Limits, input_name, input_token
from clinics.media.take import Take
from clinics.media.ticks import TICKS_PER_S, to_ticks

LIST_NAME = "chapters.ffconcat"


@dataclass(frozen=True)
class Source:
    """A take, ready to be opened: what to bind, what to call it, with which options.

    ``origin_pts`` is the PTS of the take's first shown picture on the clock of the opened whole,
    in ``time_base``; ``origin_ticks`` the same in 1/90000 s: media_s = 0.
    """

    take: Take
    inputs: tuple[Path, ...]
    name: str
    options: dict[str, str]
    time_base: Fraction
    origin_pts: int

    @property
    def origin_ticks(self) -> int:
        return to_ticks(self.origin_pts, self.time_base)

    @property
    def video_index(self) -> int:
        return self.take.first.video_index

    def join_ticks(self) -> list[int]:
        """Where each later file begins on the opened whole's clock, in ticks, by the containers'
        word: good to about a frame."""
        joins, at_s = [], 0.0
        for previous, following in zip(self.take.facts, self.take.facts[1:], strict=False):
            at_s += previous.video_end_s - previous.start_s
            joins.append(at_s if following.container == "mp4" else following.start_s)
        return [round(begins_s * TICKS_PER_S) for begins_s in joins]

    def seek_options(self, at_s: float | None) -> dict[str, str]:
        """Options before the input to begin reading near ``at_s`` on the file's own clock.

        Nothing is trimmed by that: what comes early is cut by PTS (`-noaccurate_seek`). None
        means from the start.
        """
        if at_s is None:
            return {}
        return {"ss": f"{at_s:.6f}", "seek_timestamp": "1"}


def open_take(take: Take, *, work_dir: Path, limits: Limits) -> Source:
    """How to open this take. For MP4 chapters a list is written into ``work_dir``.

    Several transport (or program) streams are read as one byte stream, which gives back exactly
    what the camera wrote before it split it. Chapters of MP4 have clocks of their own and need
    ffmpeg's list format, which must never be allowed for a file that was not probed without it:
    a playlist in disguise could open its neighbours. Each chapter has been probed by then, the
    list names only our names, and the sandbox holds nothing else.
    """
    first = take.first
    if len(take.files) == 1:
        return Source(
            take=take,
            inputs=take.files,
            name=input_token(0),
            options={"f": first.demuxer, **guarded_open(limits)},
            time_base=first.time_base,
            origin_pts=first.first_pts,
        )
    if first.container in ("mpegts", "mpegps"):
        whole = "|".join(input_token(index) for index in range(len(take.files)))
        return Source(
            take=take,
            inputs=take.files,
            name=f"concat:{whole}",
            options={"f": first.demuxer, **guarded_open(limits, protocols="file,concat")},
            time_base=first.time_base,
            origin_pts=first.first_pts,
        )
    chapter_list = _write_chapter_list(take, work_dir)
    formats = f"concat,{FORMAT_WHITELIST}"
    return Source(
        take=take,
        inputs=(*take.files, chapter_list),
        name=input_token(len(take.files)),
        options={"f": "concat", **guarded_open(limits, formats=formats)},
        time_base=first.time_base,
        origin_pts=first.first_pts - round(Fraction(str(first.start_s)) / first.time_base),
    )


def _write_chapter_list(take: Take, work_dir: Path) -> Path:
    """The list of chapters, each lasting as long as its picture.

    Without a stated duration the longest stream of a chapter counts, which is mostly the sound:
    the next chapter's pictures would come late by its rest.
    """
    lines = ["ffconcat version 1.0"]
    for index, facts in enumerate(take.facts):
        lines += [f"file '{input_name(index)}'"]
        lines += [f"duration {facts.video_end_s - facts.start_s:.6f}"]
    path = work_dir / LIST_NAME
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
    return path
