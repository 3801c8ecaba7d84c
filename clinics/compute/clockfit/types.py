"""What goes into the joint fit of a clinic's clocks, and what comes out."""

from __future__ import annotations

from dataclasses import dataclass

START_SEEN, START_HEARD, INSTANT = "start-seen", "start-heard", "instant"
SLATE_SEEN, SLATE_HEARD = "slate-seen", "slate-heard"
SAME_MOMENT, PASSING = "same-moment", "passing"
PERSON, SOUND, CORRELATION = "person", "sound", "correlation"  # who found a tie
SURE, LOOK, NOT_FOUND = "sure", "look", "not-found"
# by which a recording was placed
STARTS, TIES, FILE_DATE, NOTHING = "starts", "ties", "file date", "none"


@dataclass(frozen=True)
class TieIn:
    """`media_s` of the frame on which it was placed; `half_frame_s` half the interval before
    that frame (0 for sound); `u_s` its standard uncertainty; `travel_s` of the sound, if it was
    heard. `other`, `other_media_s`, `other_half_frame_s`: the same moment in another recording."""

    key: str
    recording: str
    kind: str
    media_s: float
    half_frame_s: float
    u_s: float
    swim: str | None = None
    instant_s: float | None = None
    travel_s: float = 0.0
    other: str | None = None
    other_media_s: float = 0.0
    other_half_frame_s: float = 0.0
    found_by: str = PERSON
    score: float | None = None

    @property
    def event_s(self) -> float:
        """Media time of the event itself."""
        return self.media_s - self.half_frame_s

    @property
    def other_event_s(self) -> float:
        return self.other_media_s - self.other_half_frame_s


@dataclass(frozen=True)
class RecordingIn:
    """`order` among the camera's recordings; `began_s`: clinic seconds as its file's date says;
    `slow_motion`: media seconds that the camera made of one second; `place_u_s`: standard
    uncertainty of the station's distance from the starter, as sound's travel time."""

    key: str
    camera: str
    duration_s: float
    frame_s: float
    order: int = 0
    began_s: float | None = None
    slow_motion: float = 1.0
    place_u_s: float = 0.0


@dataclass(frozen=True)
class SwimIn:
    """A start as tapped (clinic seconds) and its standard uncertainty against other taps."""

    key: str
    tap_s: float
    u_s: float


@dataclass(frozen=True)
class Evidence:
    """What a recording's sound says of its place.

    `p`: how probable a match as good is by chance, None if there is none. `logged`: whether the
    start log was matched too, or only the recordings with each other. `places`: (clinic second
    of its begin, starts that meet) where more than one fits, of `of` starts. `slow_motion`: the
    factor by which it would fit. `blur_s`: standard uncertainty that all its arrivals share.
    """

    p: float | None
    logged: bool
    blur_s: float = 0.002
    places: tuple[tuple[float, int], ...] = ()
    of: int = 0
    slow_motion: float | None = None


@dataclass(frozen=True)
class Candidate:
    """A place among several that fit about as well: clinic second of media_s = 0, how many of
    how many starts meet there."""

    zero_s: float | None
    matched: int
    of: int
    slow_motion: float | None = None


@dataclass(frozen=True)
class RecordingFit:
    """`zero_s`: clinic seconds of media_s = 0, None if not found. `rate_ppm`: of the recording
    as it lies there, a stretch to slow motion included. `u_ms`: the largest standard
    uncertainty over the recording, relative to the other recordings; `u_mid_ms` in its middle,
    `u_begin_ms` and `u_end_ms` at its ends. `reason`: why it is not sure, for a person."""

    key: str
    zero_s: float | None
    rate_ppm: float
    u_ms: float | None
    u_begin_ms: float | None
    u_mid_ms: float | None
    u_end_ms: float | None
    state: str
    method: str
    ties: int
    reason: str
    false_match_p: float | None = None
    candidates: tuple[Candidate, ...] = ()


@dataclass(frozen=True)
class TieFit:
    """`residual_ms` None and `set_aside` a reason when the tie does not count."""

    key: str
    residual_ms: float | None
    set_aside: str = ""


@dataclass(frozen=True)
class SwimFit:
    """`by` is how the start is known now: heard, seen (both tied) or tap."""

    key: str
    start_s: float
    u_s: float
    by: str


@dataclass(frozen=True)
class ClinicFit:
    """`lateness_s`: how late taps are as a whole, None if no known instant measures it."""

    recordings: dict[str, RecordingFit]
    ties: dict[str, TieFit]
    swims: dict[str, SwimFit]
    lateness_s: float | None
    lateness_u_s: float | None


def not_found(key: str, reason: str) -> RecordingFit:
    return RecordingFit(key, None, 0.0, None, None, None, None, NOT_FOUND, NOTHING, 0, reason)
