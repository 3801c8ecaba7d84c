"""Drawn films of a swimmer whose strokes are imposed: water, ropes, neighbours, shake and noise.

Nothing here is shared with the demo's painter: limbs are soft capsules, water is a sum of waves.
Lengths in pixels of a picture 240 wide.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from feedback.compute.rate_read.film import Box, Film

Float64 = NDArray[np.float64]
WIDTH, HEIGHT = 240, 136
ROWS, COLUMNS = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)


@dataclass(frozen=True)
class Scene:
    """What is imposed. ``speed_px_s``: the swimmer's over the pool; ``pan``: the share of it that
    the camera follows; ``far_arm``: how well the far arm shows against the near one, 0 to 1."""

    seed: int
    stroke: str = "freestyle"
    rate: float = 42.0  # cycles a minute
    unsteady: float = 0.025  # of each cycle's length, one standard deviation
    seconds: float = 9.0
    per_s: float = 25.0
    uneven: float = 0.1  # of the frame interval
    speed_px_s: float = 14.0
    pan: float = 0.0
    shake_px: float = 0.0
    noise: float = 3.0
    waves: float = 5.0
    rope: bool = True
    far_arm: float = 0.6
    above: float = 1.0  # how well limbs show above the water, and below it
    below: float = 0.4
    light: float = 1.0
    size: float = 1.0
    neighbour: float = 0.0  # how strongly another swimmer shows
    neighbour_rate: float = 50.0
    box: bool = True
    swims: bool = True  # no: floats by without a stroke


@dataclass(frozen=True, eq=False)
class Drawn:
    film: Film
    box: Box | None
    turns: Float64 = field(repr=False)  # of the stroke, at each picture

    def rate_between(self, from_s: float, to_s: float) -> float:
        """Cycles a minute really made then."""
        made = np.interp([from_s, to_s], self.film.times_s, self.turns)
        return float(made[1] - made[0]) / (to_s - from_s) * 60.0


def turns_at(times_s: Float64, rate: float, unsteady: float, rng: np.random.Generator) -> Float64:
    """Cycles made at each instant, each of its own length."""
    count = int(times_s[-1] * rate / 60 * 1.5) + 4
    lengths_s = 60 / rate * (1 + unsteady * rng.standard_normal(count))
    ends_s = np.concatenate([[0.0], np.cumsum(lengths_s)])
    return np.interp(times_s, ends_s, np.arange(count + 1)) + rng.uniform()


def draw(scene: Scene) -> Drawn:
    rng = np.random.default_rng(scene.seed)
    count = int(scene.seconds * scene.per_s)
    times_s = (np.arange(count) + scene.uneven * rng.uniform(-0.5, 0.5, count)) / scene.per_s
    times_s -= times_s[0]
    turns = turns_at(times_s, scene.rate, scene.unsteady if scene.swims else 0.0, rng)
    shown = turns if scene.swims else np.zeros(count)
    others = turns_at(times_s, scene.neighbour_rate, scene.unsteady, rng)
    pool = _Pool(scene, rng)
    begin = 120 - scene.speed_px_s * scene.seconds * (1 - scene.pan) / 2
    foot_y = 78.0 + rng.uniform(-8, 8)
    shake = _shaken(scene, times_s, rng)
    grey = np.empty((count, HEIGHT, WIDTH), dtype=np.uint8)
    place = np.empty((count, 2))
    for n, at_s in enumerate(times_s):
        camera = scene.pan * scene.speed_px_s * at_s - shake[n, 0]
        x = begin + scene.speed_px_s * at_s - camera
        y = foot_y + shake[n, 1]
        place[n] = x, y
        picture = pool.at(at_s, camera, shake[n, 1])
        if scene.neighbour:
            other = replace(scene, seed=scene.seed + 1, stroke="freestyle", size=scene.size * 0.8)
            way = x + 30 - 4 * at_s, y - 42 * scene.size
            _swimmer(picture, other, way, float(others[n]), rng, scene.neighbour)
        _swimmer(picture, scene, (x, y), float(shown[n]), rng, 1.0)
        picture = picture * scene.light + rng.normal(0, scene.noise, picture.shape)
        grey[n] = np.clip(picture, 0, 255)
    return Drawn(Film(grey, times_s), _box(scene, place, rng), turns)


def _shaken(scene: Scene, times_s: Float64, rng: np.random.Generator) -> Float64:
    """A hand that holds the camera: slow drift and a tremor."""
    shake = np.zeros((len(times_s), 2))
    for axis in (0, 1):
        for rate_hz, part in ((0.3, 1.0), (0.8, 0.6), (2.3, 0.35), (5.0, 0.15)):
            wave = np.sin(2 * np.pi * rate_hz * rng.uniform(0.8, 1.2) * times_s + rng.uniform(0, 6))
            shake[:, axis] += scene.shake_px * part * wave
    return shake


def _box(scene: Scene, place: Float64, rng: np.random.Generator) -> Box | None:
    """About the swimmer in the first picture, as a hand sets it."""
    if not scene.box:
        return None
    half = np.array([48.0, 22.0]) * scene.size * rng.uniform(0.85, 1.25, 2)
    left, top = place[0] + rng.normal(0, 4, 2) * scene.size - half
    return Box(left / WIDTH, top / HEIGHT, 2 * half[0] / WIDTH, 2 * half[1] / HEIGHT)


class _Pool:
    """Water with waves that run, a rope with floats, a wall with a pattern above it."""

    def __init__(self, scene: Scene, rng: np.random.Generator) -> None:
        self.scene = scene
        self.ways = [
            (
                rng.uniform(0.05, 0.35),
                rng.uniform(-0.3, 0.3),
                rng.uniform(2.0, 9.0),
                rng.uniform(0, 6),
            )
            for _ in range(7)
        ]
        wide = WIDTH + 1200
        texture = rng.standard_normal((HEIGHT + 60, wide)).astype(np.float32)
        kernel = np.ones(9) / 9
        for axis in (0, 1):
            texture = np.apply_along_axis(np.convolve, axis, texture, kernel, "same")
        tiles = 14.0 * (np.arange(wide) % 46 < 3)[None, :]
        self.wall = 150 + 60 * texture + tiles
        self.rope_y = 102 + rng.uniform(-4, 10)

    def at(self, at_s: float, camera: float, down: float) -> NDArray[np.float32]:
        x, y = np.arange(WIDTH) + camera, np.arange(HEIGHT)[:, None] - down
        water = 95 + 0.2 * ROWS + self.scene.waves / 2 * self._waves(at_s, x, y)
        row, column = int(30 - down), int(600 + camera)
        wall = self.wall[row : row + HEIGHT, column : column + WIDTH]
        picture = np.where(34 + down > ROWS, wall, water + 0.25 * (wall - 150))
        if self.scene.rope:
            bob = 1.2 * np.sin(1.7 * at_s + 0.02 * x)
            on = np.abs(y - self.rope_y - bob) < 2
            picture = np.where(on & (x % 9 < 6), 190, picture)
        return picture.astype(np.float32)

    def _waves(self, at_s: float, x: NDArray[np.floating], y: NDArray[np.floating]) -> Float64:
        """The sine of along * x + across * y - speed * at_s + begin, summed over the ways, by the
        sum of two angles: far fewer sines than pixels."""
        along, across, speed, begin = np.array(self.ways).T
        in_columns = np.outer(x, along) - speed * at_s + begin
        in_rows = across * y
        return np.asarray(
            np.cos(in_rows) @ np.sin(in_columns).T + np.sin(in_rows) @ np.cos(in_columns).T
        )


def _swimmer(
    picture: NDArray[np.float32],
    scene: Scene,
    at: tuple[float, float],
    turn: float,
    rng: np.random.Generator,
    shows: float,
) -> None:
    """Right is forwards; the water line runs along the back."""
    size, phase = scene.size, 2 * np.pi * turn
    line = at[1] - 3 * size

    def limb(start: Float64, end: Float64, wide: float, level: float, part: float) -> None:
        _capsule(picture, start, end, wide * size, level, part * shows, scene, line)

    def place(x: float, y: float) -> Float64:
        return np.array([at[0] + x * size, at[1] - y * size])

    if scene.stroke in ("freestyle", "backstroke"):
        arms, kick, rise = (phase, phase + np.pi), np.sin(3 * phase), 0.0
    elif scene.stroke == "butterfly":
        arms, kick, rise = (phase, phase), np.sin(2 * phase), 3 * np.sin(phase)
    else:
        arms, kick, rise = (), 0.0, 4 * max(0.0, np.sin(phase))
    sense = 1 if scene.stroke == "backstroke" else -1
    shoulder, hip = place(16, 1 + rise), place(-10, 0)
    for n, arm in reversed(list(enumerate(arms))):
        hand = shoulder + size * 19 * np.array([np.cos(sense * arm), -np.sin(sense * arm)])
        limb(shoulder, hand, 2.6, 185, 1.0 if n == 0 else scene.far_arm)
        near_entry = (sense * arm / (2 * np.pi)) % 1.0
        if min(near_entry, 1 - near_entry) < 0.08:
            _splash(picture, hand, size, shows * (1.0 if n == 0 else scene.far_arm), rng)
    if scene.stroke == "breaststroke":
        pull, draw_up = max(0.0, np.sin(phase)), max(0.0, -np.sin(phase))
        hand = place(36 - 16 * pull, 1 - 11 * pull)
        limb(shoulder, hand, 2.6, 185, 1.0)
        foot = place(-38 + 18 * draw_up, -1 - 7 * draw_up)
        limb(hip, foot, 3.2, 180, 1.0)
    else:
        for side, part in ((1, 1.0), (-1, scene.far_arm)):
            swing = kick if scene.stroke == "butterfly" else side * kick
            limb(hip, place(-36, 4 * swing), 3.2, 180, part)
    limb(hip, shoulder, 6.0, 170, 1.0)
    limb(place(22, 2 + rise), place(25, 2 + rise), 4.5, 60, 1.0)
    _splash(picture, place(-38, 1), size * 0.7, shows * 0.6, rng)


def _capsule(
    picture: NDArray[np.float32],
    start: Float64,
    end: Float64,
    wide: float,
    level: float,
    part: float,
    scene: Scene,
    line: float,
) -> None:
    low = np.floor(np.minimum(start, end) - wide - 2).astype(int)
    high = np.ceil(np.maximum(start, end) + wide + 3).astype(int)
    rows = slice(max(low[1], 0), max(min(high[1], HEIGHT), 0))
    columns = slice(max(low[0], 0), max(min(high[0], WIDTH), 0))
    x, y = COLUMNS[rows, columns], ROWS[rows, columns]
    if x.size == 0:
        return
    along = end - start
    length = max(float(along @ along), 1e-6)
    share = np.clip(((x - start[0]) * along[0] + (y - start[1]) * along[1]) / length, 0, 1)
    far = np.hypot(x - start[0] - share * along[0], y - start[1] - share * along[1])
    weight = np.clip(wide + 0.5 - far, 0, 1) * part
    weight = weight * np.where(y < line, scene.above, scene.below)
    picture[rows, columns] += weight * (level - picture[rows, columns])


def _splash(
    picture: NDArray[np.float32], at: Float64, size: float, part: float, rng: np.random.Generator
) -> None:
    for _ in range(6):
        x, y = at + rng.normal(0, 4 * size, 2)
        row, column = int(y), int(x)
        if 1 <= row < HEIGHT - 1 and 1 <= column < WIDTH - 1:
            spot = picture[row - 1 : row + 2, column - 1 : column + 2]
            spot += (235 - spot) * min(part * rng.uniform(0.3, 0.9), 1.0)


RATES = {
    "freestyle": (26.0, 66.0),
    "backstroke": (26.0, 56.0),
    "breaststroke": (22.0, 58.0),
    "butterfly": (28.0, 62.0),
}


def any_scene(seed: int) -> Scene:
    """One of the many ways in which a swim is filmed, drawn by lot."""
    rng = np.random.default_rng([77, seed])
    stroke = str(rng.choice(list(RATES)))
    under_water = rng.uniform() < 0.3
    return Scene(
        seed=seed,
        stroke=stroke,
        rate=float(rng.uniform(*RATES[stroke])),
        unsteady=float(rng.uniform(0.0, 0.05)),
        seconds=float(rng.uniform(4.0, 14.0)),
        per_s=float(rng.choice([24.0, 25.0, 25.0])),
        uneven=float(rng.choice([0.0, 0.0, 0.2])),
        speed_px_s=float(rng.uniform(5.0, 26.0)),
        pan=float(rng.choice([0.0, 0.0, rng.uniform(0.7, 1.05)])),
        shake_px=float(rng.choice([0.0, rng.uniform(0, 4)])),
        noise=float(rng.choice([1.5, 3.0, 6.0, 10.0])),
        waves=float(rng.uniform(1.0, 14.0)),
        rope=bool(rng.uniform() < 0.7),
        far_arm=float(rng.uniform(0.1, 0.95)),
        above=1.0 if not under_water else 0.3,
        below=float(rng.uniform(0.2, 0.6)) if not under_water else 1.0,
        light=float(rng.choice([1.0, 1.0, 0.5, 0.25])),
        size=float(rng.uniform(0.5, 1.3)),
        neighbour=float(rng.choice([0.0, 0.0, rng.uniform(0.3, 1.0)])),
        neighbour_rate=float(rng.uniform(30, 60)),
        box=bool(rng.uniform() < 0.6),
        swims=bool(rng.uniform() < 0.94),
    )
