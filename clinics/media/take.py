"""A take: one unbroken recording, in one or more files in order; and which files make one."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from clinics.media.facts import FileFacts

JOINABLE = ("mpegts", "mpegps", "mp4")
"""Containers in which cameras are known to go on in another file without losing a frame."""

CLOCK_GAP_S = 1.0
"""Transport streams: largest distance between one file's end and the next one's start.

A file cut between packets begins with the rest of a picture, and the first time stamp comes after
it; pictures are also reordered. Cameras that begin anew start near zero, hours or minutes away.
"""

CREATED_GAP_S = 2.0
"""MP4 chapters: how far the file dates, which have whole seconds, may be from following."""

FULL_FILE_BYTES = 1_000_000_000
"""Without chapter names, only a file that looks full (FAT32 holds 4 GiB) was split by its camera:
two recordings started in quick succession have file dates that follow each other too."""


@dataclass(frozen=True)
class Take:
    """One unbroken recording: files in order, and the facts of each.

    ``names`` are what people call the files, for messages; stored files have names of our own.
    """

    files: tuple[Path, ...]
    facts: tuple[FileFacts, ...]
    names: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.files or len(self.files) != len(self.facts):
            raise ValueError("a take has at least one file, and facts for each")

    @property
    def first(self) -> FileFacts:
        return self.facts[0]

    @property
    def shown_name(self) -> str:
        """The first file's name, for messages about the whole."""
        return self.names[0] if self.names else self.files[0].name

    @property
    def shown_last_name(self) -> str:
        """The last file's name, for messages about the end."""
        return self.names[-1] if self.names else self.files[-1].name

    @property
    def has_audio(self) -> bool:
        return self.first.has_audio

    @property
    def is_interlaced(self) -> bool:
        return self.first.is_interlaced

    @property
    def is_turned(self) -> bool:
        """Whether the coded picture must be turned or flipped to be upright."""
        return self.first.rotation_deg != 0 or self.first.mirrored

    @property
    def width(self) -> int:
        """Width as a person should see it."""
        return self.first.width

    @property
    def height(self) -> int:
        """Height as a person should see it."""
        return self.first.height

    @property
    def size_bytes(self) -> int:
        return sum(facts.size_bytes for facts in self.facts)

    @property
    def duration_s(self) -> float:
        """As the containers say; the index knows better."""
        return sum(facts.duration_s for facts in self.facts)

    @property
    def picture_fps(self) -> Fraction:
        """Average rate of pictures shown: fields count one each."""
        return self.first.fps * (2 if self.is_interlaced else 1)


def order_split_files(named: Sequence[tuple[str, FileFacts]]) -> list[list[int]]:
    """Which of these files are one recording that the camera split.

    ``named`` are the files of one camera (name as on the card, facts) in any order. The result
    holds, per recording, the indices into ``named`` in their order; recordings stand in the order
    of their first file's name.
    """
    by_name = sorted(range(len(named)), key=lambda index: _natural(named[index][0]))
    followers = _followers(by_name, named)
    taken = set(followers.values())
    groups = []
    for index in by_name:
        if index in taken:
            continue
        group = [index]
        while (following := followers.get(group[-1])) is not None:
            group.append(following)
        groups.append(group)
    return groups


def _followers(by_name: Sequence[int], named: Sequence[tuple[str, FileFacts]]) -> dict[int, int]:
    """Which file goes on where another ends. Recordings of one camera often begin at the same
    clock time and are split at the same length, so several could: the next one by name does.

    Numbers on a card go round (9999, 0001), hence distances by name do too; but nothing goes
    round in a ring of its own.
    """
    pairs = []
    for place, index in enumerate(by_name):
        for other_place, other in enumerate(by_name):
            name, other_name = named[index][0], named[other][0]
            if other != index and continues(
                named[index][1], named[other][1], previous_name=name, following_name=other_name
            ):
                pairs.append(((other_place - place) % len(by_name), index, other))
    followers: dict[int, int] = {}
    for _, index, other in sorted(pairs):
        if index in followers or other in followers.values() or _leads(followers, other, index):
            continue
        followers[index] = other
    return followers


def _leads(followers: dict[int, int], begin: int, end: int) -> bool:
    """Whether following on from ``begin`` arrives at ``end``."""
    at: int | None = begin
    while at is not None:
        if at == end:
            return True
        at = followers.get(at)
    return False


def continues(
    previous: FileFacts,
    following: FileFacts,
    *,
    previous_name: str,
    following_name: str,
    full_file_bytes: int = FULL_FILE_BYTES,
) -> bool:
    """Whether ``following`` is the next part of the same unbroken recording.

    MPEG streams: the time stamps go on. MP4: each part has a clock of its own, so the names must
    be consecutive and the file dates must follow; and either the names are chapter names or the
    previous file is full. When in doubt it is no: a person can join two recordings by hand, but
    would not see that two were joined that are not one.
    """
    if previous.container not in JOINABLE or not previous.same_settings_as(following):
        return False
    if previous.container in ("mpegts", "mpegps"):
        return abs(following.start_s - previous.video_end_s) <= CLOCK_GAP_S
    step = _name_step(previous_name, following_name)
    if step is None:
        return False
    if step == "chapter":
        return _created_allow(previous, following, same_allowed=True)
    return previous.size_bytes >= full_file_bytes and _created_allow(
        previous, following, same_allowed=False
    )


_CHAPTER_FIRST = re.compile(r"^(?P<head>[A-Z]{2})(?P<chapter>\d\d)(?P<take>\d{4})$", re.IGNORECASE)
_NUMBERED = re.compile(r"^(?P<head>.*?)(?P<number>\d+)(?P<tail>\D*)$")


def _name_step(previous_name: str, following_name: str) -> str | None:
    """``chapter`` (GX010042, GX020042), ``number`` (CLIP0007, CLIP0008), or None."""
    before, after = Path(previous_name), Path(following_name)
    if before.suffix.lower() != after.suffix.lower():
        return None
    first, second = _CHAPTER_FIRST.match(before.stem), _CHAPTER_FIRST.match(after.stem)
    if first and second:
        same_take = (first["head"].upper(), first["take"]) == (
            second["head"].upper(),
            second["take"],
        )
        if same_take and int(second["chapter"]) == int(first["chapter"]) + 1:
            return "chapter"
    left, right = _NUMBERED.match(before.stem), _NUMBERED.match(after.stem)
    if not left or not right:
        return None
    same_frame = (left["head"], left["tail"]) == (right["head"], right["tail"])
    return "number" if same_frame and int(right["number"]) == int(left["number"]) + 1 else None


def _created_allow(previous: FileFacts, following: FileFacts, *, same_allowed: bool) -> bool:
    """Whether the file dates fit: the next begins when the previous ended.

    Some cameras date a file by its start and some by its end; chapter files may all carry the
    date of the first, or none.
    """
    before, after = _instant(previous.created_at), _instant(following.created_at)
    if before is None or after is None:
        return same_allowed and before is after
    apart_s = (after - before).total_seconds()
    if same_allowed and apart_s == 0:
        return True
    return any(
        abs(apart_s - duration_s) <= CREATED_GAP_S
        for duration_s in (previous.duration_s, following.duration_s)
    )


def _instant(text: str | None) -> dt.datetime | None:
    if text is None:
        return None
    try:
        instant = dt.datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        return None
    return instant if instant.tzinfo else instant.replace(tzinfo=dt.UTC)


def _natural(name: str) -> list[tuple[int, int, str]]:
    """Sort key: CLIP9 before CLIP10."""
    parts = re.split(r"(\d+)", name.casefold())
    return [(0, int(part), "") if part.isdigit() else (1, 0, part) for part in parts]
