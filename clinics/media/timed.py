"""Raw frames, each with its own time, as a stream that an encoder can read from a pipe.

A raw stream has no times, and those of a camera's frames are as they are. So the frames go out
within Matroska (RFC 9559), the smallest that its rules allow: one track of raw video, each frame
a cluster of its own. Microseconds hold 1/90000 s exactly enough to be rounded back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from clinics.media.ticks import TICKS_PER_S

UNKNOWN_SIZE = b"\x01" + b"\xff" * 7
US_PER_S = 1_000_000
KEY_FRAME = 0x80

# Names of elements (RFC 8794 and RFC 9559), by what is in them.
_EBML, _DOC_TYPE = b"\x1a\x45\xdf\xa3", b"\x42\x82"
_DOC_VERSION, _READ_VERSION = b"\x42\x87", b"\x42\x85"
_SEGMENT, _INFO, _SCALE = b"\x18\x53\x80\x67", b"\x15\x49\xa9\x66", b"\x2a\xd7\xb1"
_MUXER, _WRITER = b"\x4d\x80", b"\x57\x41"
_TRACKS, _TRACK = b"\x16\x54\xae\x6b", b"\xae"
_NUMBER, _UID, _TYPE = b"\xd7", b"\x73\xc5", b"\x83"
_CODEC, _VIDEO, _WIDTH, _HEIGHT, _FOURCC = b"\x86", b"\xe0", b"\xb0", b"\xba", b"\x2e\xb5\x24"
_CLUSTER, _TIME, _BLOCK = b"\x1f\x43\xb6\x75", b"\xe7", b"\xa3"
_VIDEO_TRACK = 1


def timed_stream(
    frames: Iterable[memoryview], ticks: Sequence[int], *, width_px: int, height_px: int
) -> Iterator[bytes | memoryview]:
    """The stream of planar 4:2:0 frames, frame k shown at `ticks[k]` (1/90000 s), in pieces."""
    yield _head(width_px, height_px)
    for at, frame in zip(ticks, frames, strict=True):
        at_us = (at * US_PER_S + TICKS_PER_S // 2) // TICKS_PER_S
        time = _element(_TIME, _number(at_us))
        block = b"\x81\x00\x00" + bytes([KEY_FRAME])
        block_size = _size(len(block) + len(frame))
        inside = len(time) + len(_BLOCK) + len(block_size) + len(block) + len(frame)
        yield _CLUSTER + _size(inside) + time + _BLOCK + block_size + block
        yield frame


def _head(width_px: int, height_px: int) -> bytes:
    ns_per_us = 1000
    head = _element(_DOC_TYPE, b"matroska")
    head += _element(_DOC_VERSION, _number(4)) + _element(_READ_VERSION, _number(2))
    info = _element(_SCALE, _number(ns_per_us)) + _element(_MUXER, b"-") + _element(_WRITER, b"-")
    video = _element(_WIDTH, _number(width_px)) + _element(_HEIGHT, _number(height_px))
    video += _element(_FOURCC, b"I420")
    track = _element(_NUMBER, _number(1)) + _element(_UID, _number(1))
    track += _element(_TYPE, _number(_VIDEO_TRACK)) + _element(_CODEC, b"V_UNCOMPRESSED")
    tracks = _element(_TRACKS, _element(_TRACK, track + _element(_VIDEO, video)))
    return _element(_EBML, head) + _SEGMENT + UNKNOWN_SIZE + _element(_INFO, info) + tracks


def _element(name: bytes, content: bytes) -> bytes:
    return name + _size(len(content)) + content


def _size(count: int) -> bytes:
    """In eight bytes, always: the first bit of the first byte says so."""
    return (count | 1 << 56).to_bytes(8, "big")


def _number(value: int) -> bytes:
    return value.to_bytes(8, "big")
