"""Over real HTTP against a real gunicorn: 2 GiB with the connection cut, and two at once.

The outside witness is hashlib over the file as sent and over the bytes as they lie on disk.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import os
import random
import socket
import struct
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.clinics.live_site import LiveSite

pytestmark = [pytest.mark.services, pytest.mark.slow]
GIB = 1 << 30
BYTES = "application/offset+octet-stream"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveSite]:
    live = LiveSite(tmp_path_factory.mktemp("live"), {"UPLOAD_SILENT_S": "8"})
    live.seed()
    live.start()
    yield live
    live.stop()


def create(site: LiveSite, size: int) -> str:
    said = {"filename": "00012.MTS", "station": site.facts["station"]}
    packed = ",".join(
        f"{key} {base64.b64encode(text.encode()).decode()}" for key, text in said.items()
    )
    made = site.ask("POST", "/uploads/", Upload_Length=str(size), Upload_Metadata=packed)
    assert made.status == 201, made.status
    return "/uploads/" + made.headers["Location"].split("/uploads/")[1]


def offset_of(site: LiveSite, url: str) -> int:
    return int(site.ask("HEAD", url).headers["Upload-Offset"])


def open_patch(site: LiveSite, url: str, offset: int, length: int) -> socket.socket:
    """The head of a PATCH; the caller sends the body, or as much of it as it likes."""
    said = site.headers(
        Host=f"127.0.0.1:{site.port}",
        Content_Type=BYTES,
        Content_Length=str(length),
        Upload_Offset=str(offset),
    )
    head = f"PATCH {url} HTTP/1.1\r\n" + "".join(
        f"{name}: {value}\r\n" for name, value in said.items()
    )
    connection = socket.create_connection(("127.0.0.1", site.port), timeout=60)
    connection.sendall(f"{head}\r\n".encode())
    connection.settimeout(None)  # sendfile knows nothing of Python's time limit
    return connection


def send(connection: socket.socket, file: Path, offset: int, count: int) -> None:
    with file.open("rb") as source:
        end = offset + count
        while offset < end:
            offset += os.sendfile(
                connection.fileno(), source.fileno(), offset, min(end - offset, 1 << 22)
            )


def status_of(connection: socket.socket) -> int:
    connection.settimeout(60)
    return int(connection.recv(4096).split()[1])


def sha256(path: Path) -> str:
    with path.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()


def part_of(site: LiveSite, url: str) -> Path:
    return Path(site.facts["uploads"]) / f"{url.strip('/').split('/')[-1]}.part"


def sparse_file(path: Path, size: int) -> Path:
    """Mostly holes, with noise here and there, so that a shifted byte shows."""
    noise = random.Random(7)
    with path.open("wb") as out:
        out.truncate(size)
        for at in sorted(noise.sample(range(size // 4096), 300)):
            out.seek(at * 4096 + noise.randrange(4096))
            out.write(noise.randbytes(3000))
        out.truncate(size)
    return path


@pytest.mark.timeout(180)
def test_two_gib_arrive_whole_although_the_connection_is_cut_five_times(
    site: LiveSite, tmp_path: Path
) -> None:
    size = 2 * GIB
    file = sparse_file(tmp_path / "big.mts", size)
    url = create(site, size)
    began = time.monotonic()
    for cut in ("reset", "closed", "server killed", "reset", "closed"):
        offset = offset_of(site, url)
        assert offset <= part_of(site, url).stat().st_size  # never more than is on disk
        connection = open_patch(site, url, offset, size - offset)
        send(connection, file, offset, size // 6 + 12_345)
        if cut == "reset":
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        if cut == "server killed":
            site.kill()
            site.start()
        connection.close()
        wait_until_let_go(site, url, offset)
        assert offset < offset_of(site, url) < size, cut
    offset = offset_of(site, url)
    connection = open_patch(site, url, offset, size - offset)
    send(connection, file, offset, size - offset)
    assert status_of(connection) == 204
    connection.close()
    print(f"2 GiB with five cuts: {time.monotonic() - began:.1f} s")
    assert offset_of(site, url) == size
    assert sha256(part_of(site, url)) == sha256(file)
    part_of(site, url).unlink()


def wait_until_let_go(site: LiveSite, url: str, offset: int) -> None:
    """The server notices the end of a connection a moment later; until then it answers 423."""
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        now = offset_of(site, url)
        with contextlib.closing(open_patch(site, url, now, 0)) as empty:
            if status_of(empty) == 204 and now > offset:
                return
        time.sleep(0.1)
    raise AssertionError("the upload stayed locked")


def test_of_two_patches_at_once_one_wins_over_http(site: LiveSite, tmp_path: Path) -> None:
    size = 40 << 20
    files = {letter: tmp_path / letter for letter in "ab"}
    for letter, file in files.items():
        file.write_bytes(letter.encode() * size)
    url = create(site, size)
    statuses: dict[str, int] = {}
    ready = threading.Barrier(2, timeout=20)

    def patch(letter: str) -> None:
        with contextlib.closing(open_patch(site, url, 0, size)) as connection:
            ready.wait()
            with contextlib.suppress(OSError):  # the loser may be cut off while still sending
                send(connection, files[letter], 0, size)
            statuses[letter] = status_of(connection)

    threads = [threading.Thread(target=patch, args=(letter,)) for letter in files]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    [winner] = [letter for letter, status in statuses.items() if status == 204]
    [loser] = [status for status in statuses.values() if status != 204]
    assert loser in {409, 423}
    assert sha256(part_of(site, url)) == sha256(files[winner])


def test_a_silent_connection_lets_go(site: LiveSite) -> None:
    """Networks vanish without a word: the lock is let go of after a while, and what came is
    kept but for the last piece (256 KiB at most)."""
    size, sent = 1_000_000, 600_000
    url = create(site, size)
    silent = open_patch(site, url, 0, size)
    silent.sendall(b"x" * sent)
    time.sleep(0.5)
    assert status_of(open_patch(site, url, 0, size)) == 423
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and offset_of(site, url) == 0:
        time.sleep(0.5)
    kept = offset_of(site, url)
    assert sent - 256 * 1024 <= kept <= sent
    again = open_patch(site, url, kept, size - kept)
    again.sendall(b"y" * (size - kept))
    assert status_of(again) == 204
    assert part_of(site, url).read_bytes() == b"x" * kept + b"y" * (size - kept)
    silent.close()
