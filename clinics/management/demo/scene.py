"""The four views of the pool: what stands still, and how the swimmers are laid over it.

Each view is a window of the plane that runs along the swum lane: pixels a metre, the place at its
left edge and the row of the water line. The same function of time moves the swimmers in all four.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clinics.management.demo.backgrounds import RIPPLES, VIEWS, background
from clinics.management.demo.canvas import Frame, Sprite, planes_of
from clinics.management.demo.figure import Colours
from clinics.management.demo.motion import COURSE_M, READY_S, Go
from clinics.management.demo.sprites import (
    HEIGHT_PX,
    LEAN_STEP_DEG,
    PHASES,
    WIDTH_PX,
    bubbles_sprite,
    card_sprite,
    figure_sprite,
    foam_sprite,
    glow_sprite,
    lamp_sprite,
    splash_sprite,
)

RIPPLES_PER_S = 5.0
LAMP_S = 0.4
"""The starter's lamp is lit so long, from the very instant of the signal."""
PAN_HALF_M = 5.0


@dataclass(frozen=True)
class Figure:
    """One swim as the painter needs it. ``start_s`` counts from the truth epoch."""

    number: int
    start_s: float
    go: Go
    colours: Colours


class Painter:
    """Draws one station's picture at any true instant (seconds since the truth epoch)."""

    def __init__(self, kind: str, figures: list[Figure], end_s: float) -> None:
        self.view = VIEWS[kind]
        self.figures = figures
        self.frame = Frame(WIDTH_PX, HEIGHT_PX)
        self.backgrounds = [planes_of(background(self.view, i)) for i in range(RIPPLES)]
        self.pan = _pan_of(figures, end_s) if kind == "deck" else None

    def left_edge_m(self, clinic_s: float) -> float:
        """Place along the course at the picture's left edge; the deck camera turns along."""
        if self.pan is None:
            return self.view.left_m
        return float(np.interp(clinic_s, self.pan[0], self.pan[1])) - PAN_HALF_M

    def draw(self, clinic_s: float) -> Frame:
        """The picture at ``clinic_s``, without its painted time. The frame is used again."""
        view, frame = self.view, self.frame
        left_m = self.left_edge_m(clinic_s)
        left_px = round((left_m - view.left_m) * view.px_per_m / 2) * 2
        frame.fill(self.backgrounds[int(clinic_s * RIPPLES_PER_S) % RIPPLES], left_px)
        self._lay_lamp(clinic_s, left_px)
        for figure in self.figures:
            self._lay_figure(figure, clinic_s - figure.start_s, left_px)
        return frame

    def in_picture_s(self, figure: Figure) -> list[tuple[float, float]]:
        """Spans of swim seconds in which the hips are within the picture, to 20 ms."""
        ticks_s = np.arange(figure.go.appears_s, figure.go.duration_s + 4.0, 0.02)
        inside = [self._shows(figure, float(swim_s)) for swim_s in ticks_s]
        edges = np.flatnonzero(np.diff([0, *map(int, inside), 0]))
        return [
            (round(float(ticks_s[first]), 2), round(float(ticks_s[end - 1]), 2))
            for first, end in zip(edges[::2], edges[1::2], strict=True)
        ]

    def _shows(self, figure: Figure, swim_s: float) -> bool:
        posture = figure.go.posture_at(swim_s)
        if posture is None:
            return False
        left_m = self.left_edge_m(figure.start_s + swim_s)
        return left_m <= posture.x_m <= left_m + self.view.seen_m()

    def _lay_figure(self, figure: Figure, swim_s: float, left_px: int) -> None:
        posture = figure.go.posture_at(swim_s)
        if posture is None:
            return
        view = self.view
        centre = self._pixel(posture.x_m, posture.z_m, left_px)
        if not -200 < centre[0] < WIDTH_PX + 200:
            return
        sunk = view.from_above and posture.z_m < -0.3
        sprite = figure_sprite(
            posture.pose,
            int(posture.phase * PHASES),
            round(posture.lean_deg / LEAN_STEP_DEG),
            posture.towards_turn,
            figure.colours,
            view.px_per_m,
            sunk,
        )
        half_px = sprite.luma.shape[0] / 2
        self.frame.lay(sprite, centre[0] - half_px, centre[1] - half_px)
        self._lay_card(figure, swim_s, centre)
        self._lay_water(figure, swim_s, posture.towards_turn, left_px)

    def _lay_card(self, figure: Figure, swim_s: float, centre: tuple[float, float]) -> None:
        """The number card before the chest, while the swimmer stands on the deck."""
        if not figure.go.appears_s <= swim_s < -READY_S:
            return
        card = card_sprite(figure.number, self.view.px_per_m)
        height_px, width_px = card.luma.shape
        top_px = centre[1] - 0.3 * self.view.px_per_m - height_px / 2
        self.frame.lay(card, centre[0] - width_px / 2, top_px)

    def _lay_water(self, figure: Figure, swim_s: float, outwards: bool, left_px: int) -> None:
        """Splash at the entry, foam at the feet while swimming, bubbles after each push."""
        go, view = figure.go, self.view
        since_entry_s = swim_s - go.entry_s
        if 0 <= since_entry_s < 0.8 and view.from_above:
            stage = int(since_entry_s / 0.1)
            self._lay_centred(splash_sprite(stage, view.px_per_m), 2.9, 0.1, left_px)
        x_m, z_m = go.place_at(swim_s)
        behind = -1 if outwards else 1
        turn = int(swim_s * 10) % 4
        if go.is_swimming(swim_s):
            foam = foam_sprite(turn, view.px_per_m, view.from_above)
            self._lay_centred(foam, x_m + behind * 0.95, 0.02, left_px)
        if go.is_gliding(swim_s) and not view.from_above:
            self._lay_centred(bubbles_sprite(turn, view.px_per_m), x_m + behind, z_m, left_px)

    def _lay_centred(self, sprite: Sprite, x_m: float, z_m: float, left_px: int) -> None:
        x_px, y_px = self._pixel(x_m, z_m, left_px)
        height_px, width_px = sprite.luma.shape
        self.frame.lay(sprite, x_px - width_px / 2, y_px - height_px / 2)

    def _lay_lamp(self, clinic_s: float, left_px: int) -> None:
        """The starter's lamp: light needs no time to travel, so silent cameras can use it."""
        lit = any(0 <= clinic_s - figure.start_s < LAMP_S for figure in self.figures)
        kind = self.view.kind
        if kind == "underwater":
            if lit:
                self.frame.lay(glow_sprite(), 0, 16)
        elif kind != "turn-window":
            self._lay_centred(lamp_sprite(lit), -1.75, 1.95 if kind == "deck" else 2.2, left_px)

    def _pixel(self, x_m: float, z_m: float, left_px: int) -> tuple[float, float]:
        view = self.view
        x_px = (x_m - view.left_m) * view.px_per_m - left_px
        return x_px, view.water_row_px - z_m * view.px_per_m


def _pan_of(figures: list[Figure], end_s: float) -> tuple[NDArray, NDArray]:
    """Where the deck camera points: after the swimmer with a little lag, back when they are out."""
    times_s = np.arange(0.0, end_s + 1.0, 0.05)
    lowest_m, highest_m = PAN_HALF_M - 2.5, COURSE_M - PAN_HALF_M + 2.2
    points = np.empty_like(times_s)
    point_m = lowest_m
    for i, clinic_s in enumerate(times_s):
        wanted_m = np.clip(_wanted_m(figures, float(clinic_s)), lowest_m, highest_m)
        point_m += (wanted_m - point_m) * 0.09
        points[i] = point_m
    return times_s, points


def _wanted_m(figures: list[Figure], clinic_s: float) -> float:
    for figure in figures:
        swim_s = clinic_s - figure.start_s
        if 0 <= swim_s <= figure.go.duration_s:
            return figure.go.place_at(swim_s)[0]
    return 0.0
