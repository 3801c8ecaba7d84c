"""What a file is by its first bytes, without giving it to a media library.

This is for good messages, and so that a playlist in disguise is turned away before any parser
that could follow it has seen it. It is not the fence: the fence is the list of
allowed formats and the sandbox.
"""

from __future__ import annotations

from pathlib import Path

from clinics.media.errors import MediaError, Unsupported

HEAD_BYTES = 4096

_PICTURES = (
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (b"GIF87a", "a GIF picture"),
    (b"GIF89a", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
)
_OTHERS = (
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a zip archive or an office document"),
    (b"Rar!\x1a\x07", "a rar archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"ID3", "a sound file"),
    (b"fLaC", "a sound file"),
    (b"OggS", "an Ogg file"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"#!", "a script"),
)
_PICTURE_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis"}


def refuse_if_no_video(path: Path, shown_name: str) -> None:
    """Raise Unsupported if the first bytes show another kind of file than a video."""
    size_bytes = path.stat().st_size
    if size_bytes == 0:
        raise MediaError(
            f"{shown_name} is empty (0 bytes): the copy did not work. Copy it from the card again.",
            reason_code="empty",
        )
    with path.open("rb") as handle:
        head = handle.read(HEAD_BYTES)
    if found := _playlist(head):
        raise Unsupported(
            f"{shown_name} is not a video but {found}, which only points at other files: "
            "bring in the video files themselves.",
            reason_code="playlist",
        )
    if found := _picture(head):
        raise Unsupported(
            f"{shown_name} is {found}, not a video: bring in the camera's video files.",
            reason_code="picture",
        )
    if found := _other(head):
        raise Unsupported(
            f"{shown_name} is {found}, not a video: bring in the camera's video files.",
            reason_code="not-video",
        )


def _playlist(head: bytes) -> str | None:
    """HLS, DASH, ffconcat and their kin: text that names other files."""
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if text.startswith(b"#extm3u"):
        return "a playlist (HLS)"
    if text.startswith(b"ffconcat") or b"\nffconcat version" in text:
        return "a playlist (concat list)"
    if b"<mpd" in text or b"urn:mpeg:dash" in text:
        return "a playlist (DASH)"
    if text.startswith((b"<?xml", b"<smil", b"<asx", b"[playlist]", b"[reference]", b"rtsptext")):
        return "a playlist or another text file"
    return None


def _picture(head: bytes) -> str | None:
    for start, name in _PICTURES:
        if head.startswith(start):
            return name
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "a WebP picture"
    if head[4:8] == b"ftyp" and head[8:12] in _PICTURE_BRANDS:
        return "a picture (HEIC or AVIF)"
    return None


def _other(head: bytes) -> str | None:
    for start, name in _OTHERS:
        if head.startswith(start):
            return name
    if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
        return "a sound file"
    if _is_text(head):
        return "a text file"
    return None


def _is_text(head: bytes) -> bool:
    """Text as people write it: UTF-8 without control characters but tab and line ends."""
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(head) - 4:
            return False
        text = head[: error.start].decode("utf-8")
    return all(character.isprintable() or character in "\t\r\n\f" for character in text)
