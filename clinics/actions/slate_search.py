"""Looking for slates in one recording: in its key frames, in its sound, then closely.

Nothing is written here; clinics/actions/slate.py takes in what is found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from django.conf import settings

from clinics.actions import index
from clinics.actions.errors import BadInput
from clinics.actions.soundtracks import samples_of
from clinics.compute.slate import clinic_code_of, parse_code
from clinics.compute.slate_ties import (
    Anchor,
    HeardTie,
    Reading,
    Refused,
    SeenTie,
    heard_ties,
    seen_tie,
    showings,
)
from clinics.compute.slate_tones import find_tones
from clinics.compute.time import media_s_to_ticks, ticks_to_media_s, to_epoch_s
from clinics.media.errors import MediaError, Stopped
from clinics.media.frames import load_key_frames
from clinics.media.look import look_through
from clinics.media.slate import SlateReader, read_closely
from clinics.models import Recording, Tie
from portal.actions import files

if TYPE_CHECKING:
    from clinics.media.take import Take
    from clinics.media.ticks import Int64

SOUND_RATE_HZ = 8000
AROUND_S = 1.0
"""Read this much before the first and after the last key frame that shows a slate."""
AROUND_TONE_S = 2.0
LONGEST_S = 6.0
"""A phone left in the picture: its first and last seconds are read, which tell all it can."""
MOST_SPANS = 40
SPARSE_KEYS_S = 1.5
BLIND_EVERY_S = 0.4
HAND_TIE_U_MS, UNKNOWN_TONE_U_MS = 150.0, 60.0
NOTE = "Slate: "
Pulse = Callable[..., None]


@dataclass
class SlatesFound:
    """What the pictures and the sound of one recording say."""

    seen: list[SeenTie] = field(default_factory=list)
    heard: list[HeardTie] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


class SlateSearch:
    """Looks for slates in one recording. Nothing is written here."""

    def __init__(self, recording: Recording, pulse: Pulse) -> None:
        assert recording.frame_table is not None  # a constraint of ready ones: indexed
        self.recording = recording
        self.pulse = pulse
        self.frames: Int64 = index.frames_of(recording)
        self.keys: Int64 = load_key_frames(recording.frame_table.local_path())
        self.found = SlatesFound()

    def run(self, reader: SlateReader | None) -> SlatesFound:
        reader = reader or self._look_at_key_frames()
        samples = samples_of(self.recording)
        tones = [] if samples is None else find_tones(samples, SOUND_RATE_HZ)
        spans = self._spans(reader, tones)
        blind = not spans and samples is None and self._keys_are_sparse()
        if spans or blind:
            readings = self._read(spans, blind)
            self._judge(self._own(readings))
            if tones and not readings and not self.found.notes:
                self.found.notes.append(_only_heard(tones[0][0]))
        anchors = [*self._anchors(), *self._hand_anchors()]
        self.found.heard = heard_ties(tones, anchors, slow_motion=self.recording.slow_motion)
        return self.found

    # -- where to read

    def _spans(
        self, reader: SlateReader, tones: list[tuple[float, float]]
    ) -> list[tuple[int, int]]:
        """First and end numbers of the pictures to read, in order and apart."""
        slow = self.recording.slow_motion
        wanted = [
            (at_s - AROUND_S * slow, at_s + AROUND_S * slow)
            for at_s in (ticks_to_media_s(int(self.frames[n])) for n in reader.frames)
        ]
        wanted += [(at_s - AROUND_TONE_S, at_s + AROUND_TONE_S) for at_s, _ in tones]
        spans = []
        for begin_s, end_s in _ends(_joined(wanted), LONGEST_S * slow)[:MOST_SPANS]:
            places = [media_s_to_ticks(max(begin_s, 0.0)), media_s_to_ticks(end_s)]
            first, end = (int(n) for n in np.searchsorted(self.frames, places))
            if end > first:
                spans.append((first, end))
        return spans

    def _keys_are_sparse(self) -> bool:
        """Whether a slate could have been shown between two key frames."""
        if len(self.keys) < 2:
            return True
        apart_s = ticks_to_media_s(int(np.max(np.diff(self.frames[self.keys]))))
        return apart_s > SPARSE_KEYS_S * self.recording.slow_motion

    # -- reading

    def _read(self, spans: Sequence[tuple[int, int]], blind: bool) -> list[Reading]:
        try:
            take = index.take_of(self.recording)
            if blind:
                spans = self._spans(self._look_everywhere(take), [])
            readings: list[Reading] = []
            for done, (first, end) in enumerate(spans):
                readings += self._closely(take, first, end - first, 1)
                self.pulse((done + 1) / len(spans))
            return readings
        except Stopped:
            raise
        except (MediaError, BadInput) as problem:
            said = problem.message if isinstance(problem, MediaError) else str(problem)
            self.found.notes.append(f"{NOTE}it could not be read: {said}")
            return []

    def _closely(self, take: Take, first: int, count: int, every: int) -> list[Reading]:
        with files.work_dir("slate") as folder:
            found = read_closely(
                take,
                self.frames,
                first,
                count,
                parse=parse_code,
                work_dir=folder,
                every=every,
                limits=index.limits(),
                key_frames=self.keys,
                should_stop=getattr(self.pulse, "should_stop", None),
                require_sandbox=settings.REQUIRE_SANDBOX,
            )
        return [Reading(number, self._media_s(number), code) for number, code in found]

    def _look_at_key_frames(self) -> SlateReader:
        reader = SlateReader()
        with files.work_dir("slate") as folder:
            look_through(
                index.take_of(self.recording),
                self.frames,
                self.keys,
                work_dir=folder,
                readers=[reader],
                limits=index.limits(),
                should_stop=getattr(self.pulse, "should_stop", None),
                require_sandbox=settings.REQUIRE_SANDBOX,
            )
        return reader

    def _look_everywhere(self, take: Take) -> SlateReader:
        """No sound, and key frames too far apart to rely on: every picture is decoded once."""
        every = max(1, round(BLIND_EVERY_S * (self.recording.nominal_fps or 25.0)))
        seen = self._closely(take, 0, len(self.frames), every)
        return SlateReader(hints=[reading.frame for reading in seen])

    # -- judging

    def _own(self, readings: list[Reading]) -> list[Reading]:
        """Only this clinic's code counts; another one is told of."""
        own = clinic_code_of(self.recording.station.clinic_id)
        strange = [reading for reading in readings if reading.code.clinic != own]
        if strange:
            self.found.notes.append(
                f"{NOTE}at {_clock(strange[0].media_s)} the slate of another clinic is in the "
                "picture. It is not used. Open this clinic's slate on the phone and film that."
            )
        return [reading for reading in readings if reading.code.clinic == own]

    def _judge(self, readings: list[Reading]) -> None:
        slow = self.recording.slow_motion
        for showing in showings(readings, slow):
            told = seen_tie(showing, self._media_s, slow_motion=slow)
            if isinstance(told, SeenTie):
                self.found.seen.append(told)
            else:
                self.found.notes.append(_why(told))

    def _media_s(self, number: int) -> float:
        """Also of the picture after the last."""
        if number < len(self.frames):
            return ticks_to_media_s(int(self.frames[number]))
        return 2 * self._media_s(len(self.frames) - 1) - self._media_s(len(self.frames) - 2)

    def _anchors(self) -> Iterator[Anchor]:
        for tie in self.found.seen:
            if tie.tone_u_ms is not None:
                yield Anchor(self._media_s(tie.frame), tie.instant_ms, tie.u_ms, tie.tone_u_ms)

    def _hand_anchors(self) -> Iterator[Anchor]:
        """Instants that a person knows tell the second of a tone too."""
        ties = self.recording.ties.filter(
            kind=Tie.Kind.INSTANT, found_by=Tie.FoundBy.PERSON, u_ms__lte=HAND_TIE_U_MS
        )
        for tie in ties:
            assert tie.instant is not None  # a tie of this kind has one
            yield Anchor(
                ticks_to_media_s(tie.pts_ticks),
                1000 * to_epoch_s(tie.instant),
                tie.u_ms,
                UNKNOWN_TONE_U_MS,
            )


def _joined(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for begin, end in sorted(spans):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def _ends(spans: list[tuple[float, float]], longest_s: float) -> list[tuple[float, float]]:
    """Of what is longer only the beginning and the end."""
    shorter: list[tuple[float, float]] = []
    for begin, end in spans:
        if end - begin <= 2 * longest_s:
            shorter.append((begin, end))
        else:
            shorter += [(begin, begin + longest_s), (end - longest_s, end)]
    return shorter


def _clock(media_s: float) -> str:
    minutes, seconds = divmod(int(media_s), 60)
    return f"{minutes}:{seconds:02d}"


def _why(refused: Refused) -> str:
    at = f"{NOTE}at {_clock(refused.at_s)} "
    if refused.why == "rate":
        return at + (
            f"about {refused.factor:.1f} s of the recording pass in one second of the slate's "
            "clock. If the camera filmed in slow motion, say its factor on this page; then the "
            "slate counts."
        )
    return (
        at
        + {
            "few": "the slate is read in too few pictures to count. Film it for two seconds.",
            "still": "the slate's code stands still: a picture of a slate, or a phone that hung. "
            "It is not used.",
            "disagree": "the slate's codes do not follow each other as a clock does. "
            "It is not used.",
        }[refused.why]
    )


def _only_heard(media_s: float) -> str:
    return (
        f"{NOTE}at {_clock(media_s)} its tone is heard, and no code can be read. Hold the phone "
        "closer to the camera, straight and without glare."
    )
