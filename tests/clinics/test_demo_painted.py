"""What the demo's pictures have painted into them can be told: the instant, and number cards."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFont

from clinics.management.demo.motion import CARD_S, Go
from clinics.management.demo.occasions import CLINICS
from clinics.management.demo.painted import paint, read
from clinics.management.demo.scenario import Scenario
from clinics.management.demo.scene import Painter

CARD_AT_S = -4.5


@given(st.integers(0, 2**32 - 1), st.sampled_from([(640, 360), (480, 270), (426, 240), (320, 180)]))
def test_painted_value_survives_scaling(value: int, size_px: tuple[int, int]) -> None:
    frame = np.full((360, 640), 90, dtype=np.uint8)
    paint(frame, value)
    scaled = Image.fromarray(frame).resize(size_px, Image.Resampling.BILINEAR)
    assert read(np.asarray(scaled)) == value


def test_painted_value_damaged_is_not_guessed() -> None:
    frame = np.full((360, 640, 3), 90, dtype=np.uint8)
    paint(frame, 123_456)
    luma = frame[..., 0].copy()
    luma[:16, 160:176] = 255 - luma[:16, 160:176]
    assert read(frame[..., 0]) == 123_456
    assert read(luma) is None
    assert read(np.full((360, 640), 90, dtype=np.uint8)) is None


def test_painted_value_that_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit 32"):
        paint(np.zeros((360, 640), dtype=np.uint8), 2**32)


@pytest.mark.parametrize("height_px", [360, 180])
def test_number_card_can_be_told_in_a_still_of_the_start_camera(height_px: int) -> None:
    """Each card's picture is nearest to a print of its own number, of all up to 99."""
    prints = {number: _print_of(number) for number in range(100)}
    for clinic in CLINICS.values():
        scenario = Scenario(clinic, 1, short=False)
        painter = Painter("start-side", scenario.figures(), scenario.end_s)
        for swim in scenario.swims:
            if swim.swimmer.filmed:
                luma = painter.draw(swim.start_s + CARD_AT_S).luma
                still = Image.fromarray(luma).resize((height_px * 16 // 9, height_px))
                told = _told(_cards_in(still.resize((640, 360)), swim.go), prints)
                assert told == swim.swimmer.number


def _cards_in(still: Image.Image, go: Go) -> list[np.ndarray]:
    """The card's middle, at every place to within two pixels."""
    assert CARD_S[0] < CARD_AT_S < CARD_S[1]
    posture = go.posture_at(CARD_AT_S)
    assert posture is not None
    x, y = round((posture.x_m + 2.3) * 68), round(222 - (posture.z_m + 0.3) * 68)
    luma = np.asarray(still, dtype=float)
    steps = range(-2, 3)
    return [luma[y + j - 18 : y + j + 18, x + i - 24 : x + i + 24] for i in steps for j in steps]


def _print_of(number: int) -> np.ndarray:
    paper = Image.new("L", (48, 36), 235)
    font = ImageFont.load_default(size=42)
    ImageDraw.Draw(paper).text((24, 18), str(number), font=font, fill=40, anchor="mm")
    return np.asarray(paper, dtype=float)


def _told(cards: list[np.ndarray], prints: dict[int, np.ndarray]) -> int:
    def likeness(number: int) -> float:
        print_ = prints[number].ravel()
        return max(np.corrcoef(card.ravel(), print_)[0, 1] for card in cards)

    return max(prints, key=likeness)
