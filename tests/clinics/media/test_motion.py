"""What moves, from real encoded films: a drawn figure swims through a picture with ripples, noise
and changing light. The truth is imposed by the drawing."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from clinics.compute.motion import Seen, key_frame_step_s, passes_seen, window_from_motion
from clinics.media.errors import Damaged
from clinics.media.index import index_take
from clinics.media.look import look_through
from clinics.media.motion import MotionProfile, MotionReader, load_motion, save_motion
from clinics.media.probe import probe
from clinics.media.take import Take
from clinics.media.ticks import TICKS_PER_S

FPS = 10
SIZE = (180, 320)
FIGURE_PX = (14, 46)
SURFACE_Y = 70
Floats = NDArray[np.float32]


@dataclass(frozen=True)
class Swim:
    """A figure that enters at `from_s` and is out of the picture at `to_s`, left to right or
    right to left."""

    from_s: float
    to_s: float
    rightwards: bool = True

    def left_px(self, at_s: float) -> float:
        share = (at_s - self.from_s) / (self.to_s - self.from_s)
        share = share if self.rightwards else 1 - share
        return share * (SIZE[1] + FIGURE_PX[1]) - FIGURE_PX[1]


def pool_picture(width: int = SIZE[1]) -> Floats:
    """Deck above, water with lane ropes below."""
    rng = np.random.default_rng(3)
    texture = ndimage.gaussian_filter(rng.standard_normal((SIZE[0], width)), 2.5) * 60
    picture = 120 + texture
    picture[SURFACE_Y - 8 :] -= 40
    for rope in (SURFACE_Y, 120, 165):
        picture[rope : rope + 3, np.arange(width) % 16 < 8] += 60
    return picture.astype(np.float32)


def pictures(
    length_s: float, swims: list[Swim], *, ripples: float = 5.0, pan_px_per_s: float = 0.0
) -> Iterator[NDArray[np.uint8]]:
    """Noise of four grey levels, light that wavers and, after two thirds, steps up by a fifth."""
    rng = np.random.default_rng(4)
    still = pool_picture(SIZE[1] + int(abs(pan_px_per_s) * length_s) + 1)
    rows, columns = np.mgrid[: SIZE[0], : SIZE[1]].astype(np.float32)
    for number in range(int(length_s * FPS)):
        at_s = number / FPS
        left = int(pan_px_per_s * at_s)
        picture = still[:, left : left + SIZE[1]].copy()
        for swim in swims:
            x = int(round(swim.left_px(at_s)))
            if swim.from_s <= at_s <= swim.to_s:
                limbs = 3 * int(number % 4 < 2)
                top = SURFACE_Y + 12 - limbs
                picture[top : top + FIGURE_PX[0], max(x, 0) : max(x + FIGURE_PX[1], 0)] = 190
        waves = np.sin(0.21 * columns + 0.35 * rows - 5.1 * at_s) + np.sin(
            0.13 * columns - 0.3 * rows + 3.7 * at_s
        )
        picture[SURFACE_Y:] += ripples * waves[SURFACE_Y:]
        light = 1 + 0.06 * np.sin(1.3 * at_s) + 0.2 * (at_s > 2 / 3 * length_s)
        noisy = picture * light + rng.standard_normal(SIZE) * 4
        yield np.clip(noisy, 0, 255).astype(np.uint8)


def film(path: Path, shown: Iterator[NDArray[np.uint8]], *, key_every_s: float = 0.5) -> Path:
    keys = ["-g", str(int(key_every_s * FPS)), "-sc_threshold", "0", "-preset", "ultrafast"]
    argv = ["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "gray"]
    argv += ["-s", f"{SIZE[1]}x{SIZE[0]}", "-r", str(FPS), "-i", "pipe:0", "-pix_fmt", "yuv420p"]
    argv += ["-c:v", "libx264", "-crf", "26", *keys, str(path)]
    raw = b"".join(picture.tobytes() for picture in shown)
    subprocess.run(argv, input=raw, check=True, capture_output=True)
    return path


def profile_of(path: Path, folder: Path) -> MotionProfile:
    take = Take((path,), (probe(path, shown_name=path.name),))
    index = index_take(take, work_dir=folder)
    reader = MotionReader()
    look_through(take, index.frame_pts, index.key_frames, work_dir=folder, readers=[reader])
    profile = reader.profile(index.frame_pts)
    assert profile.frames.tolist() == index.key_frames.tolist()
    return profile


def seen_in(profile: MotionProfile) -> list[Seen]:
    return passes_seen(profile.ticks / TICKS_PER_S, profile.energy)


Filmed = Callable[..., MotionProfile]


@pytest.fixture
def filmed(tmp_path: Path) -> Filmed:
    def make(length_s: float, swims: list[Swim], *, key_s: float = 0.5, **how: float):  # type: ignore[no-untyped-def]
        path = film(tmp_path / "view.mp4", pictures(length_s, swims, **how), key_every_s=key_s)
        return profile_of(path, tmp_path)

    return make


SWIMS = [Swim(8.2, 13.9), Swim(21.0, 25.3, rightwards=False), Swim(33.4, 39.0)]


def test_swimmers_are_seen_when_they_pass(filmed: Filmed) -> None:
    """Each within a key-frame interval, and nothing else, in spite of ripples and light."""
    seen = seen_in(filmed(45.0, SWIMS))
    assert len(seen) == len(SWIMS)
    for one, swim in zip(seen, SWIMS, strict=True):
        assert one.from_s == pytest.approx(swim.from_s, abs=0.5)
        assert one.to_s == pytest.approx(swim.to_s, abs=0.5)
        assert one.middle_s == pytest.approx((swim.from_s + swim.to_s) / 2, abs=0.5)
        assert one.u_s == pytest.approx(0.25, abs=0.01)
        assert one.x_share == pytest.approx(0.5, abs=0.15)


def test_key_frames_far_apart_say_how_coarse_they_are(filmed: Filmed) -> None:
    profile = filmed(60.0, [Swim(20.5, 27.0)], key_s=4.0)
    [seen] = seen_in(profile)
    assert key_frame_step_s(profile.ticks / TICKS_PER_S) == pytest.approx(4.0)
    assert seen.u_s == pytest.approx(2.0)
    assert seen.from_s - seen.u_s <= 20.5 + 1.0 and seen.to_s + seen.u_s >= 27.0 - 1.0
    assert window_from_motion([seen], 19.0, 26.0, 10.0, 40.0) is None  # of no use for a window


def test_an_empty_pool_and_one_that_only_ripples_show_nothing(filmed: Filmed) -> None:
    assert seen_in(filmed(20.0, [], ripples=0.0)) == []
    assert seen_in(filmed(20.0, [], ripples=9.0)) == []


def test_a_camera_that_pans_claims_nothing(filmed: Filmed) -> None:
    """A deck camera that follows the swimmer: the swimmer stands still, the pool moves."""
    assert seen_in(filmed(24.0, [Swim(4.0, 9.0), Swim(14.0, 20.0)], pan_px_per_s=25.0)) == []


def test_a_profile_is_kept_and_damage_is_said(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    energy = rng.random((20, 16)).astype(np.float32)
    profile = MotionProfile(np.arange(20), np.arange(20) * 45_000, energy)
    save_motion(tmp_path / "m.npz", profile)
    back = load_motion(tmp_path / "m.npz")
    assert back.frames.tolist() == profile.frames.tolist()
    assert back.ticks.tolist() == profile.ticks.tolist()
    assert np.allclose(back.energy, energy, atol=0.001)
    (tmp_path / "m.npz").write_bytes((tmp_path / "m.npz").read_bytes()[:200])
    with pytest.raises(Damaged, match=r"m\.npz is damaged"):
        load_motion(tmp_path / "m.npz")
