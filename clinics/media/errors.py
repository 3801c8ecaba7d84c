"""What can go wrong with a media file, said so that the person who dropped it knows what to do."""

from __future__ import annotations


class MediaError(Exception):
    """A file or a take that cannot be used, or work on it that could not be finished.

    ``reason_code`` is a stable slug for programs, ``message`` one or two English sentences for a
    person: which file, what is wrong, what to do next.
    """

    default_reason_code = "media-error"

    def __init__(self, message: str, *, reason_code: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.reason_code = reason_code or self.default_reason_code


class Unsupported(MediaError):
    """Not a video that Sidelane takes in: another kind of file, container or codec."""

    default_reason_code = "unsupported"


class Damaged(MediaError):
    """A video that is cut short or broken beyond use."""

    default_reason_code = "damaged"


class TooLarge(MediaError):
    """Over one of the caps: size, duration, pixels, streams, memory."""

    default_reason_code = "too-large"


class TimedOut(MediaError):
    """The media tool did not end within its time."""

    default_reason_code = "timed-out"


class Stopped(MediaError):
    """The caller asked to stop (a job was cancelled or lost); nothing was published."""

    default_reason_code = "stopped"


class SandboxMissing(MediaError):
    """The sandbox is demanded by setting and does not work on this machine."""

    default_reason_code = "sandbox-missing"
