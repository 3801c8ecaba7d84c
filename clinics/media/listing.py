"""Which pictures a take gives, and when: from its packets where that is right, else by decoding.

Reading packets is some twenty times cheaper than decoding, but packets are not pictures: fields
may lie in packets of their own, packets may lack times, pictures before the first key frame or
outside an edit list never come out. So the packets' list is only a supposition. It is compared
with what the decoder gives at the start, at the end, in the middle and at each join; the first
supposition that agrees everywhere is taken, and if none does, the whole take is decoded once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import ffmpeg
import numpy as np
from numpy.typing import NDArray

from clinics.media.errors import Damaged, TooLarge
from clinics.media.formats import as_argv
from clinics.media.sandbox import Limits, describe_failure, run_tool
from clinics.media.source import Source
from clinics.media.ticks import TICK_BASE, Int64

MAX_PACKETS = 8_000_000
SAMPLE_FRAMES = 60
SAMPLE_S = 1.0
NO_PTS = np.iinfo(np.int64).min
ShouldStop = Callable[[], bool] | None
Bool = NDArray[np.bool_]


@dataclass(frozen=True)
class Packets:
    """The video packets of a take in decoding order; ``pts`` in the stream's time base."""

    pts: Int64
    key: Bool
    discarded: Bool

    def __len__(self) -> int:
        return len(self.pts)


@dataclass(frozen=True)
class Listing:
    """Frames (not fields) in the order shown: ``pts`` rising, and which of them are key frames.

    ``how`` says where it comes from, for the record: ``packets``, ``field-packets``, ``decoded``.
    """

    pts: Int64
    key_pts: Int64
    how: str


def list_frames(
    source: Source,
    *,
    limits: Limits,
    require_sandbox: bool = False,
    on_progress: Callable[[float], None] | None = None,
    should_stop: ShouldStop = None,
) -> Listing:
    """The frames that rendering will get. Raises Damaged if there is none."""
    runner = _Runner(source, limits, require_sandbox, should_stop)
    packets = runner.packets(on_progress)
    if len(packets) == 0:
        raise Damaged(f"{source.take.shown_name} holds no pictures: copy it again.")
    key_pts = np.unique(packets.pts[packets.key & (packets.pts != NO_PTS)])
    samples: list[Int64] | None = None
    for how, supposed in _suppositions(packets):
        if samples is None:
            samples = list(_samples(runner, packets, supposed, key_pts))
        if all(_agrees(supposed, sample) for sample in samples) and supposed[0] == samples[0][0]:
            return Listing(pts=supposed, key_pts=key_pts, how=how)
    decoded = runner.decoded(None, None, on_progress=on_progress)
    shown = _rising(decoded[decoded != NO_PTS])
    if len(shown) == 0:
        raise Damaged(f"{source.take.shown_name} holds no picture that can be decoded.")
    return Listing(pts=shown, key_pts=np.intersect1d(key_pts, shown), how="decoded")


def _rising(pts: Int64) -> Int64:
    """Damage can give two pictures one time: the first one counts (as in pictures.RISING)."""
    if len(pts) == 0:
        return pts
    highest_before = np.concatenate([[NO_PTS], np.maximum.accumulate(pts)[:-1]])
    return pts[pts > highest_before]


def _suppositions(packets: Packets) -> Iterator[tuple[str, Int64]]:
    """Possible lists of frames, the most usual first."""
    keys = np.flatnonzero(packets.key)
    first_key = int(keys[0]) if len(keys) else 0
    usable = ~packets.discarded
    every = packets.pts[usable]
    if np.all(every != NO_PTS):
        from_key = packets.pts[first_key:][usable[first_key:]]
        for candidate in (every, from_key, from_key[from_key >= packets.pts[first_key]]):
            if len(candidate) and len(np.unique(candidate)) == len(candidate):
                yield "packets", np.sort(candidate)
    paired = packets.pts[first_key:][usable[first_key:]][::2]
    if len(paired) and np.all(paired != NO_PTS) and len(np.unique(paired)) == len(paired):
        yield "field-packets", np.sort(paired)
        yield "field-packets", np.sort(paired[paired >= paired[0]])


def _agrees(supposed: Int64, sample: Int64) -> bool:
    """Whether the sample is exactly the supposed list between its own first and last picture."""
    low, high = np.searchsorted(supposed, [sample[0], sample[-1] + 1])
    return bool(np.array_equal(supposed[low:high], sample))


def _samples(runner: _Runner, packets: Packets, supposed: Int64, key_pts: Int64) -> Iterator[Int64]:
    """Decoded stretches to hold a supposition against: start, joins, middle, end.

    Each begins at least two key frames after the place where reading began, as rendering does;
    what the decoder gives before that counts for nothing, except at the very start.
    """
    yield runner.decoded(None, SAMPLE_FRAMES)
    tick_s = float(runner.source.time_base)
    span = int(SAMPLE_S / tick_s)
    joins = [
        int(ticks * TICK_BASE / runner.source.time_base) for ticks in runner.source.join_ticks()
    ]
    places = [int(supposed[len(supposed) // 2]), *joins]
    for place in places:
        before, after = place - span // 2, place + span // 2
        stretch = runner.decoded_between(before, after, key_pts)
        if len(stretch):
            yield stretch
    tail = runner.decoded_between(int(supposed[-1]) - span, None, key_pts)
    if len(tail):
        yield tail
    else:
        yield np.array([NO_PTS + 1, NO_PTS + 2])  # Nothing at the end: no supposition agrees.


def seek_point(key_pts: Int64, target_pts: int, *, keys_early: int = 2) -> int | None:
    """PTS to seek to so that ``target_pts`` decodes right: ``keys_early`` key frames before it.

    Seeking straight to a place in a transport stream begins up to some tenths of a second late.
    None means the start of the take.

    >>> seek_point(np.array([0, 50, 100, 150]), 120)
    50
    >>> seek_point(np.array([0, 50, 100, 150]), 60) is None
    True
    """
    before = int(np.searchsorted(key_pts, target_pts, side="right"))
    at = before - keys_early
    return int(key_pts[at]) if at > 0 else None


class _Runner:
    """Runs the listing tools on one source."""

    def __init__(
        self, source: Source, limits: Limits, require_sandbox: bool, should_stop: ShouldStop
    ) -> None:
        self.source = source
        self.limits = limits
        self.require_sandbox = require_sandbox
        self.should_stop = should_stop
        self.name = source.take.shown_name

    def packets(self, on_progress: Callable[[float], None] | None) -> Packets:
        """All video packets, by ffprobe, without decoding."""
        argv = ["ffprobe", "-v", "error", *as_argv(self.source.options)]
        argv += ["-select_streams", str(self.source.video_index)]
        argv += ["-show_entries", "packet=pts,flags", "-of", "csv=p=0"]
        argv += ["-i", self.source.name]
        reader = _PacketReader(self._progress(on_progress))
        result = run_tool(
            argv,
            inputs=self.source.inputs,
            limits=self.limits,
            require_sandbox=self.require_sandbox,
            on_stdout=reader.feed,
            should_stop=self.should_stop,
        )
        if result.returncode != 0 and not reader.pts:
            raise describe_failure(result, shown_name=self.name, doing="reading it")
        return reader.packets()

    def decoded(
        self,
        seek_pts: int | None,
        count: int | None,
        *,
        end_pts: int | None = None,
        on_progress: Callable[[float], None] | None = None,
    ) -> Int64:
        """PTS of the frames that decoding gives from a seek point on, at most ``count``."""
        at_s = None if seek_pts is None else float(seek_pts * self.source.time_base)
        opened = ffmpeg.input(
            self.source.name,
            copyts=None,
            noautorotate=None,
            noaccurate_seek=None,
            threads=self.limits.threads,
            **self.source.options,
            **self.source.seek_options(at_s),
        )
        video = opened[str(self.source.video_index)].filter("crop", 16, 16, 0, 0)
        if end_pts is not None:
            video = video.filter("trim", end_pts=end_pts)
        listed = ffmpeg.output(
            video,
            "pipe:1",
            format="framecrc",
            vcodec="rawvideo",
            fps_mode="passthrough",
            enc_time_base=_ratio(self.source.time_base),
            **({} if count is None else {"frames:v": count}),
        )
        reader = _FrameReader(self._progress(on_progress))
        result = run_tool(
            ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "error"]
            + listed.compile()[1:],
            inputs=self.source.inputs,
            limits=self.limits,
            require_sandbox=self.require_sandbox,
            on_stdout=reader.feed,
            should_stop=self.should_stop,
        )
        if result.returncode != 0 and not reader.pts:
            raise describe_failure(result, shown_name=self.name, doing="decoding it")
        return np.array(reader.pts, dtype=np.int64)

    def decoded_between(self, before: int, after: int | None, key_pts: Int64) -> Int64:
        """Frames with before <= PTS <= after, decoded after a seek as rendering does it."""
        seek = seek_point(key_pts, before)
        pts = self.decoded(seek, None, end_pts=None if after is None else after + 1)
        return pts[(pts >= before) & (pts <= (after if after is not None else pts.max(initial=0)))]

    def _progress(self, on_progress: Callable[[float], None] | None) -> Callable[[int], None]:
        """Progress from the PTS reached."""
        expected = self.source.take.duration_s / float(self.source.time_base) or 1.0

        def report(pts: int) -> None:
            if on_progress is not None:
                on_progress(min(max((pts - self.source.origin_pts) / expected, 0.0), 1.0))

        return report


def _ratio(value: object) -> str:
    return f"{value.numerator}:{value.denominator}"  # type: ignore[attr-defined]


class _LineReader:
    """Cuts standard output into lines; subclasses understand one line."""

    def __init__(self, report: Callable[[int], None]) -> None:
        self.report = report
        self.rest = b""
        self.pts: list[int] = []

    def feed(self, chunk: bytes) -> None:
        *lines, self.rest = (self.rest + chunk).split(b"\n")
        for line in lines:
            self.take_line(line)
        if len(self.pts) > MAX_PACKETS:
            raise TooLarge("This recording holds more pictures than a camera writes in six hours.")
        if self.pts and self.pts[-1] != NO_PTS:
            self.report(self.pts[-1])

    def take_line(self, line: bytes) -> None:
        raise NotImplementedError


class _PacketReader(_LineReader):
    """Lines of ffprobe: pts,flags (and empty lines where side data was)."""

    def __init__(self, report: Callable[[int], None]) -> None:
        super().__init__(report)
        self.key: list[bool] = []
        self.discarded: list[bool] = []

    def take_line(self, line: bytes) -> None:
        words = line.strip().strip(b",").split(b",")
        if len(words) < 2:
            return
        self.pts.append(NO_PTS if words[0] == b"N/A" else int(words[0]))
        self.key.append(b"K" in words[1])
        self.discarded.append(b"D" in words[1])

    def packets(self) -> Packets:
        return Packets(
            pts=np.array(self.pts, dtype=np.int64),
            key=np.array(self.key, dtype=np.bool_),
            discarded=np.array(self.discarded, dtype=np.bool_),
        )


class _FrameReader(_LineReader):
    """Lines of ffmpeg's framecrc: stream, dts, pts, duration, size, checksum; # for headers."""

    def take_line(self, line: bytes) -> None:
        words = line.split(b",")
        if len(words) >= 6 and not line.startswith(b"#"):
            self.pts.append(int(words[2]))
