"""Sound through the hall's air.

c = 331.3 * sqrt(1 + T / 273.15) m/s with T in °C: the ideal-gas formula as published on
freesmartcalculator's speed-of-sound page; Stanford CCRMA's page on the speed of sound gives
1085.1 ft/s at 0 °C and 1124.1 ft/s at 20 °C, and the formula is within 0.2 % of both.
"""

from __future__ import annotations

import math

HORN_HEIGHT_M = 1.5  # a starter holds the horn or whistle about at the shoulder


def speed_of_sound_m_per_s(air_temperature_c: float) -> float:
    """
    >>> round(speed_of_sound_m_per_s(20.0), 2)
    343.21
    """
    if air_temperature_c <= -273.15:
        raise ValueError("there is no air below -273.15 °C")
    return 331.3 * math.sqrt(1.0 + air_temperature_c / 273.15)


def travel_s(
    source_m: tuple[float, float, float],
    place_m: tuple[float, float, float],
    air_temperature_c: float,
) -> float:
    """Seconds that sound needs from one place to another, straight through the air.

    >>> round(1000 * travel_s((0, 0, 1.5), (25, 0, 1.5), 20.0), 2)
    72.84
    """
    return math.dist(source_m, place_m) / speed_of_sound_m_per_s(air_temperature_c)
