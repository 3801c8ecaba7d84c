"""What is known of one source file, as plain values that go into the database as JSON."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from fractions import Fraction
from typing import Any


@dataclass(frozen=True)
class FileFacts:
    """Facts of one video file, as found by ffprobe and by decoding its first pictures.

    Sizes are in pixels. ``coded_*`` is what lies in the file; ``width`` and ``height`` are what a
    person should see: sample aspect and rotation applied. ``rotation_deg`` turns the coded picture
    clockwise, and ``mirrored`` flips it left to right after that. Times named ``*_pts`` are in
    units of the video stream's time base, on the file's own clock.
    """

    container: str
    demuxer: str
    size_bytes: int
    duration_s: float
    start_s: float
    """First instant of any stream on the file's own clock."""
    video_end_s: float
    """End of the last picture on the file's own clock, as the container says."""
    stream_count: int
    video_index: int
    video_codec: str
    coded_width: int
    coded_height: int
    width: int
    height: int
    sar_num: int
    sar_den: int
    rotation_deg: int
    mirrored: bool
    field_order: str
    """``progressive``, ``tff`` or ``bff``."""
    fps_num: int
    fps_den: int
    r_fps_num: int
    r_fps_den: int
    time_base_num: int
    time_base_den: int
    first_pts: int
    """PTS of the first picture that the decoder gives out."""
    pix_fmt: str
    bit_depth: int
    color_space: str | None
    color_range: str | None
    has_audio: bool
    audio_index: int | None
    audio_codec: str | None
    audio_channels: int | None
    audio_rate_hz: int | None
    created_at: str | None
    """As the file says, normally ISO 8601; cameras' clocks are often wrong."""
    make: str | None
    model: str | None

    @property
    def is_interlaced(self) -> bool:
        return self.field_order != "progressive"

    @property
    def time_base(self) -> Fraction:
        return Fraction(self.time_base_num, self.time_base_den)

    @property
    def fps(self) -> Fraction:
        """Average rate of coded frames (not fields) per second."""
        return Fraction(self.fps_num, self.fps_den)

    def same_settings_as(self, other: FileFacts) -> bool:
        """Whether both could be parts of one recording: same container, codecs and picture."""
        return _settings(self) == _settings(other)

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> FileFacts:
        """The facts again; keys that this version does not know are ignored."""
        known = {field.name for field in fields(cls)}
        return cls(**{name: value for name, value in values.items() if name in known})


def _settings(facts: FileFacts) -> tuple[object, ...]:
    return (
        facts.container, facts.video_codec, facts.coded_width, facts.coded_height,
        facts.sar_num * facts.sar_den, facts.rotation_deg, facts.mirrored, facts.field_order,
        facts.pix_fmt, facts.time_base, facts.video_index,
        facts.audio_codec, facts.audio_channels, facts.audio_rate_hz,
    )  # fmt: skip
