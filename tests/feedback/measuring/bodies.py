"""The swimmer of tests/feedback/measuring/test_body.py as points of a picture."""

from __future__ import annotations

from feedback.compute.measuring.body.points import name_of
from tests.feedback.measuring.test_body import SWIMMER

SIZE = (640, 360)
PX_PER_M = 220.0
TOP_M = 1.6  # height of the picture's upper edge


def on_screen() -> dict[str, list[float]]:
    """In parts of a picture of SIZE, y downward; 220 pixels are a metre."""
    return {
        name_of(place): [x * PX_PER_M / SIZE[0], (TOP_M - y) * PX_PER_M / SIZE[1]]
        for place, (x, y) in SWIMMER.items()
    }
