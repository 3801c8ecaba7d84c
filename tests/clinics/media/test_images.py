"""Pictures from strangers, and checksums."""

from __future__ import annotations

import hashlib
import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from clinics.media.checksum import sha256_file
from clinics.media.errors import Damaged, TooLarge, Unsupported
from clinics.media.images import open_image


def _bomb(path: Path, side: int) -> Path:
    """A PNG that claims side x side pixels in a few bytes."""
    header = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    chunks = [(b"IHDR", header), (b"IDAT", zlib.compress(b"")), (b"IEND", b"")]
    data = b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + data)
    return path


def test_a_picture_opens(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.new("RGB", (40, 30), "teal").save(path)
    assert open_image(path).size == (40, 30)


@pytest.mark.parametrize("side", [7_000, 12_000, 60_000])
def test_a_bomb_is_too_large_before_it_is_decoded(side: int, tmp_path: Path) -> None:
    with pytest.raises(TooLarge, match="b.png"):
        open_image(_bomb(tmp_path / "b.png", side))


def test_other_formats_and_damage_are_named(tmp_path: Path) -> None:
    path = tmp_path / "c.png"
    Image.new("RGB", (40, 30), "teal").save(path, format="BMP")
    with pytest.raises(Unsupported, match="lane.png is not a picture of a kind taken here"):
        open_image(path, shown_name="lane.png")
    Image.effect_noise((200, 200), 50).save(path, format="PNG")
    path.write_bytes(path.read_bytes()[:9000])
    with pytest.raises(Damaged, match="c.png is damaged"):
        open_image(path)


def test_checksum_is_that_of_the_whole_file(tmp_path: Path) -> None:
    path = tmp_path / "d"
    data = bytes(range(256)) * 40_000
    path.write_bytes(data)
    heard: list[float] = []
    assert sha256_file(path, heard.append) == hashlib.sha256(data).hexdigest()
    assert heard == sorted(heard) and heard[-1] == 1.0
