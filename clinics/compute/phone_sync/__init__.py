"""What a phone at the pool sends, read and checked.

    read_body(text)  ->  Body

`said.py`: the kinds of things that it sends. `fields.py`: one value at a time. `body.py`: all of
it. Each item is taken by itself: a bad one refuses itself only.
"""

from __future__ import annotations

from clinics.compute.phone_sync.body import ITEMS_MOST, Body, TooMuch, read_body
from clinics.compute.phone_sync.said import (
    LINE,
    STATION_WORD,
    UNDONE,
    WISH,
    LineSaid,
    PhoneSaid,
    Refused,
    StationWordSaid,
    WishSaid,
)

__all__ = [
    "ITEMS_MOST",
    "LINE",
    "STATION_WORD",
    "UNDONE",
    "WISH",
    "Body",
    "LineSaid",
    "PhoneSaid",
    "Refused",
    "StationWordSaid",
    "TooMuch",
    "WishSaid",
    "read_body",
]
