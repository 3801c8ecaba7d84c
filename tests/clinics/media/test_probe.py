"""What is taken in, what is refused, and that refusing opens nothing else."""

from __future__ import annotations

import dataclasses
import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from clinics.media.errors import Damaged, MediaError, TooLarge, Unsupported
from clinics.media.facts import FileFacts
from clinics.media.index import index_take
from clinics.media.probe import probe
from clinics.media.render import render_clip
from clinics.media.render_plan import RenditionSpec
from clinics.media.sandbox import Limits
from clinics.media.take import Take
from tests.clinics.media.conftest import Indexed
from tests.clinics.media.formats import X264
from tests.media.film import ffprobe, make_film

CANARY = "canary-never-opened"


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sound little film, and the start of many broken ones."""
    folder = tmp_path_factory.mktemp("small")
    return make_film(
        folder / "small.mp4",
        count=60,
        size=(320, 180),
        video=(*X264, "-g", "10"),
        sound=("-c:a", "aac"),
        muxer=("-movflags", "+faststart"),
    )


def test_facts_agree_with_ffprobe_and_survive_json(indexed: Callable[[str], Indexed]) -> None:
    """Outside witness: ffprobe's own stream and format lines."""
    item = indexed("50i 16:11 pixels, lower field first")
    facts, path = item.take.first, item.take.files[0]
    shown = "codec_name,width,height,sample_aspect_ratio,avg_frame_rate"
    [row] = ffprobe(path, "-select_streams", "v:0", "-show_entries", f"stream={shown}")[:1]
    assert row == ["h264", "720", "576", "16:11", "25/1"]
    found = (facts.video_codec, facts.coded_width, facts.coded_height, facts.fps)
    assert found == ("h264", 720, 576, 25) and (facts.sar_num, facts.sar_den) == (16, 11)
    assert (facts.audio_codec, facts.audio_rate_hz) == ("mp2", 48000)
    assert facts.size_bytes == path.stat().st_size
    again = FileFacts.from_dict(json.loads(json.dumps(facts.to_dict())))
    assert again == facts
    assert FileFacts.from_dict({**facts.to_dict(), "added_later": 1}) == facts


def test_facts_of_ten_bits_and_camera_tags(tmp_path: Path, small: Path) -> None:
    path = tmp_path / "tagged.mov"
    argv = ["ffmpeg", "-v", "error", "-i", str(small), "-map", "0", "-c", "copy"]
    argv += ["-movflags", "use_metadata_tags", "-metadata", "creation_time=2026-11-14T09:30:00Z"]
    argv += ["-metadata", "make=Millrace", "-metadata", "model=Deck 1", str(path)]
    subprocess.run(argv, check=True)
    facts = probe(path, shown_name="tagged.mov")
    assert (facts.created_at or "").startswith("2026-11-14T09:30:00")
    assert (facts.make, facts.model, facts.bit_depth) == ("Millrace", "Deck 1", 8)


def _zero_bytes(folder: Path, small: Path) -> Path:
    path = folder / "empty.mp4"
    path.touch()
    return path


def _renamed_picture(kind: str) -> Callable[[Path, Path], Path]:
    def make(folder: Path, small: Path) -> Path:
        path = folder / "picture.mp4"
        Image.fromarray(np.full((90, 160, 3), 90, np.uint8)).save(path, format=kind)
        return path

    return make


def _without_table(folder: Path, small: Path) -> Path:
    """A camera that lost power: the table of contents at the end was never written."""
    whole = folder / "whole.mp4"
    argv = ["ffmpeg", "-v", "error", "-y", "-i", str(small), "-c", "copy", str(whole)]
    subprocess.run(argv, check=True)
    path = folder / "cut.mp4"
    path.write_bytes(whole.read_bytes()[: whole.stat().st_size * 2 // 3])
    return path


def _head_only(folder: Path, small: Path) -> Path:
    """The table of contents is there, the pictures are not: truncated beyond use."""
    data = small.read_bytes()
    path = folder / "head.mp4"
    path.write_bytes(data[: data.index(b"mdat") + 40])
    return path


def _sound_only(folder: Path, small: Path) -> Path:
    path = folder / "sound.mp4"
    argv = ["ffmpeg", "-v", "error", "-y", "-i", str(small), "-vn", "-c", "copy", str(path)]
    subprocess.run(argv, check=True)
    return path


def _single_picture(folder: Path, small: Path) -> Path:
    return make_film(folder / "one.mp4", count=1, size=(320, 180), video=X264)


def _other_container(folder: Path, small: Path) -> Path:
    return make_film(folder / "old.flv", count=20, size=(320, 180), video=("-c:v", "flv1"))


def _other_codec(folder: Path, small: Path) -> Path:
    return make_film(folder / "huff.mkv", count=20, size=(320, 180), video=("-c:v", "ffvhuff"))


def _noise(folder: Path, small: Path) -> Path:
    path = folder / "noise.mp4"
    path.write_bytes(np.random.default_rng(7).bytes(200_000))
    return path


def _text(folder: Path, small: Path) -> Path:
    path = folder / "notes.mp4"
    path.write_text("Lane four, second group. Ça va.\n" * 9, encoding="utf-8")
    return path


REFUSED = [
    (_zero_bytes, MediaError, "empty"),
    (_renamed_picture("JPEG"), Unsupported, "picture"),
    (_renamed_picture("PNG"), Unsupported, "picture"),
    (_renamed_picture("GIF"), Unsupported, "picture"),
    (_without_table, Damaged, "truncated"),
    (_head_only, Damaged, "damaged"),
    (_sound_only, Unsupported, "no-video"),
    (_single_picture, Damaged, "too-short"),
    (_other_container, Unsupported, "container"),
    (_other_codec, Unsupported, "codec"),
    (_noise, MediaError, None),
    (_text, Unsupported, "not-video"),
]


@pytest.mark.parametrize(("make", "kind", "reason"), REFUSED)
def test_probe_refuses_with_the_name_and_a_reason(
    make: Callable[[Path, Path], Path],
    kind: type[MediaError],
    reason: str | None,
    tmp_path: Path,
    small: Path,
) -> None:
    path = make(tmp_path, small)
    with pytest.raises(kind) as caught:
        probe(path, shown_name="Lane 4 ‹a›.mp4")
    assert caught.value.message.startswith("Lane 4 ‹a›.mp4")
    assert str(tmp_path) not in caught.value.message
    assert reason in (None, caught.value.reason_code)


CAPS = [
    {"max_size_bytes": 1000},
    {"max_duration_s": 1.0},
    {"max_pixels": 320 * 180 - 1},
    {"max_streams": 1},
]


@pytest.mark.parametrize("cap", CAPS, ids=lambda cap: next(iter(cap)))
def test_probe_refuses_what_is_over_a_cap(cap: dict[str, float], small: Path) -> None:
    limits = dataclasses.replace(Limits(), **cap)  # type: ignore[arg-type]
    with pytest.raises(TooLarge):
        probe(small, shown_name="small.mp4", limits=limits)


def _hls(canary: str) -> str:
    return f"#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:9,\n{canary}\n#EXT-X-ENDLIST\n"


def _dash(canary: str) -> str:
    return (
        '<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static" '
        'mediaPresentationDuration="PT3S" profiles="urn:mpeg:dash:profile:isoff-main:2011">'
        f'<Period><AdaptationSet mimeType="video/mp4"><Representation id="1" bandwidth="1">'
        f"<BaseURL>{canary}</BaseURL></Representation></AdaptationSet></Period></MPD>"
    )


def _concat(canary: str) -> str:
    return f"ffconcat version 1.0\nfile '{canary}'\n"


def _remote(canary: str) -> str:
    return "#EXTM3U\n#EXTINF:9,\nhttp://127.0.0.1:9/film.ts\n#EXT-X-ENDLIST\n"


PLAYLISTS = {"hls": _hls, "dash": _dash, "concat": _concat, "remote": _remote}
PAST_THE_FIRST_LOOK = (
    "import clinics.media.probe as p; p.refuse_if_no_video = lambda *a: None;"
    "from pathlib import Path; import sys\n"
    "try: p.probe(Path(sys.argv[1]), shown_name='x')\n"
    "except p.MediaError as e: print(type(e).__name__, e.reason_code)\n"
)
"""Even without the look at the first bytes, ffprobe itself must be held: that is what is traced."""


@pytest.mark.parametrize("name", PLAYLISTS)
@pytest.mark.parametrize("suffix", [".mp4", ".ts"])
def test_playlist_in_disguise_is_refused(
    name: str, suffix: str, tmp_path: Path, small: Path
) -> None:
    canary = tmp_path / f"{CANARY}{suffix}"
    canary.write_bytes(small.read_bytes())
    path = tmp_path / f"film{suffix}"
    path.write_text(PLAYLISTS[name](canary.name))
    with pytest.raises(Unsupported) as caught:
        probe(path, shown_name=path.name)
    assert caught.value.reason_code == "playlist"


@pytest.mark.parametrize("boxed", [True, False], ids=["sandbox", "no-sandbox"])
@pytest.mark.parametrize("name", PLAYLISTS)
def test_playlist_opens_no_other_file_and_no_socket(
    name: str, boxed: bool, tmp_path: Path, small: Path
) -> None:
    """The witness is strace, on a probe whose own first look is switched off."""
    canary = tmp_path / f"{CANARY}.mp4"
    canary.write_bytes(small.read_bytes())
    path = tmp_path / "film.mp4"
    path.write_text(PLAYLISTS[name](canary.name))
    calls, said = _trace(tmp_path, path, boxed)
    assert said.split() in (["Unsupported", "container"], ["Damaged", "damaged"])
    assert "ffprobe" in calls and "film.mp4" in calls, "the trace has followed the tools"
    assert CANARY not in calls
    assert not [line for line in calls.splitlines() if "AF_INET" in line or "connect(" in line]


def test_trace_would_have_seen_the_canary(tmp_path: Path, small: Path) -> None:
    """The witness itself: with ffmpeg's defaults the same playlist does open its neighbour."""
    canary = tmp_path / f"{CANARY}.mp4"
    canary.write_bytes(small.read_bytes())
    path = tmp_path / "film.mp4"
    path.write_text(_concat(canary.name))
    log = tmp_path / "calls"
    argv = ["strace", "-f", "-e", "trace=open,openat", "-o", str(log), "ffprobe", "-v", "error"]
    subprocess.run([*argv, str(path)], check=False, capture_output=True)
    assert CANARY in log.read_text()


def _trace(folder: Path, path: Path, boxed: bool) -> tuple[str, str]:
    log = folder / "calls"
    code = PAST_THE_FIRST_LOOK
    if not boxed:
        code = "import clinics.media.sandbox as s; s.sandbox_available = lambda: False\n" + code
    traced = "trace=execve,open,openat,socket,connect"
    argv = ["strace", "-f", "-s", "400", "-e", traced, "-o", str(log)]
    done = subprocess.run(
        [*argv, sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    # What Python and bubblewrap do to start (netlink to raise the box's own loopback) is not ours
    # to judge; from the tool's start on everything counts.
    return log.read_text().replace("AF_NETLINK", ""), done.stdout


def _worked_through(path: Path, folder: Path) -> str:
    """Probe, index and render a hostile file within its limits; how it ended."""
    limits = dataclasses.replace(Limits(), wall_s=60.0, probe_wall_s=20.0)
    try:
        facts = probe(path, shown_name=path.name, limits=limits)
        take = Take((path,), (facts,))
        index = index_take(take, work_dir=folder, limits=limits)
        count = min(30, len(index.frame_pts))
        render_clip(
            take,
            index.frame_pts,
            0,
            count,
            renditions=[RenditionSpec(180)],
            out_dir=folder,
            work_dir=folder,
            limits=limits,
            key_frames=index.key_frames,
        )
    except MediaError as error:
        assert path.name in error.message or "media tool" in error.message
        assert not list(folder.glob("*.mp4.*")) and not (folder / "180.mp4").exists()
        return error.reason_code
    return "rendered"


@pytest.mark.parametrize("seed", range(6))
def test_fuzzed_table_of_contents_ends_in_an_error_or_a_whole_clip(
    seed: int, tmp_path: Path, small: Path
) -> None:
    """Bytes of the moov box changed at random; nothing hangs or dies of a signal."""
    data = bytearray(small.read_bytes())
    begin, end = data.index(b"moov"), data.index(b"mdat")
    random = np.random.default_rng(seed)
    for place in random.integers(begin + 4, end - 4, size=12):
        data[place] = int(random.integers(0, 256))
    path = tmp_path / "fuzzed.bin"
    path.write_bytes(data)
    started = time.monotonic()
    _worked_through(path, tmp_path)
    assert time.monotonic() - started < 30


def test_changing_resolution_ends_in_an_error_or_a_whole_clip(tmp_path: Path) -> None:
    """A transport stream whose picture grows in the middle."""
    parts = []
    for number, size in enumerate(((320, 180), (640, 360))):
        parts.append(
            make_film(
                tmp_path / f"{number}.ts",
                count=20,
                size=size,
                video=(*X264, "-g", "10"),
                muxer=("-f", "mpegts", "-output_ts_offset", str(number * 20 / 30)),
            )
        )
    path = tmp_path / "grows.bin"
    path.write_bytes(b"".join(part.read_bytes() for part in parts))
    assert _worked_through(path, tmp_path) in ("rendered", "frames-differ", "damaged")


def test_cut_short_in_the_middle_gives_what_is_there(tmp_path: Path, small: Path) -> None:
    data = small.read_bytes()
    path = tmp_path / "short.mp4"
    path.write_bytes(data[: len(data) * 2 // 3])
    facts = probe(path, shown_name="short.mp4")
    index = index_take(Take((path,), (facts,)), work_dir=tmp_path, limits=Limits())
    assert 20 < len(index.frame_pts) < 60
    assert index.duration_s == pytest.approx(len(index.frame_pts) / 30, abs=0.001)


def test_many_tiny_packets_stay_within_limits(tmp_path: Path) -> None:
    """Very many packets of a few bytes; the whole list of them is read."""
    argv = ["ffmpeg", "-v", "error", "-y", "-f", "lavfi", "-i", "color=black:s=16x16:r=1000"]
    path = tmp_path / "tiny.mkv"
    argv += ["-frames:v", "200000", "-c:v", "mpeg4", "-bf", "0", str(path)]
    subprocess.run(argv, check=True)
    facts = probe(path, shown_name="tiny.mkv")
    take = Take((path,), (facts,))
    index = index_take(take, work_dir=tmp_path)
    assert len(index.frame_pts) == 200_000
