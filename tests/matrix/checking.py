"""Checking swims and clips, covering, and the files of clips."""

from __future__ import annotations

import datetime as dt
from typing import Any

from clinics.models import ClipMask, StationMask
from tests.cast import FIRST_START
from tests.matrix.footage import FootageThings
from tests.matrix.rows import Row

ROWS: dict[str, Row] = {
    "clinics:check": Row("clinic", get="K"),
    "clinics:check-confirm": Row("clinic", post="K"),
    "clinics:check-pass": Row("clinic", post="K"),
    "clinics:check-swap": Row("clinic", get="K", post="K"),
    "clinics:check-undo": Row("clinic", get="K", post="K"),
    "clinics:check-done": Row("clinic", post="K"),
    "clinics:close": Row("clinic", get="A", post="A"),
    "clinics:open-again": Row("clinic", post="A"),
    "clinics:check-swim": Row("swim", get="K", post="K"),
    "clinics:check-swim#not passed": Row("unchecked swim", get="K", post="K"),
    "clinics:check-swim#withdrawn": Row("withdrawn swim"),
    "clinics:check-whose": Row("swim", post="K"),
    "clinics:check-whose#not passed": Row("unchecked swim", post="K"),
    "clinics:check-whose#withdrawn": Row("withdrawn swim"),
    "clinics:check-card": Row("carded swim", get="K"),
    "clinics:check-card#withdrawn": Row("withdrawn swim"),
    "clinics:check-cut": Row("swim", post="K"),
    "clinics:check-cut#withdrawn": Row("withdrawn swim"),
    "clinics:check-clip-ends": Row("clip", post="K"),
    "clinics:check-clip-ends#withdrawn": Row("withdrawn clip"),
    "clinics:check-clip-nudge": Row("clip", post="K"),
    "clinics:check-clip-nudge#withdrawn": Row("withdrawn clip"),
    "clinics:check-add-swim": Row("clinic", get="K", post="K"),
    "clinics:station-masks": Row("station", get="KA", post="KA"),
    "clinics:station-uncover": Row("station mask", post="KA"),
    "clinics:clip-cover": Row("clip", post="K"),
    "clinics:clip-cover#withdrawn": Row("withdrawn clip"),
    "clinics:clip-uncover": Row("clip mask", post="K"),
    "clinics:clip-uncover#withdrawn": Row("withdrawn clip mask"),
    "clinics:not-me": Row("swim", get="S", post="S"),
    "clinics:clip-file": Row("video", get="SCK"),
    "clinics:clip-file#poster": Row("poster", get="SCK"),
    "clinics:clip-file#strip": Row("strip", get="SCK"),
    "clinics:clip-file#sound": Row("sound", get="CK"),
    "clinics:clip-file#not passed": Row("unchecked video", get="K"),
    "clinics:clip-file#withdrawn": Row("withdrawn video", get="X"),
    "clinics:clip-file#elsewhere": Row("video elsewhere", get="cas"),
    "clinics:clip-file-frames": Row("video", get="SCK"),
    "clinics:clip-file-frames#withdrawn": Row("withdrawn video", get="X"),
}


class CheckingThings(FootageThings):
    def carded_swim(self) -> dict[str, Any]:
        """A swim whose start, and the two seconds before it, lie in a real second of film."""
        self.filmed()
        recording = self.cast.recordings["start-side"]
        recording.clock_fit.zero_at = FIRST_START - dt.timedelta(seconds=2.5)
        recording.clock_fit.save()
        return self.swim()

    def station_mask(self) -> dict[str, Any]:
        area = {"left": 0.1, "top": 0.1, "width": 0.2, "height": 0.2}
        return self._pk(StationMask.objects.create(station=self.cast.start_side, **area))

    def _clip_mask(self, swim: str) -> dict[str, Any]:
        area = {"left": 0.1, "top": 0.1, "width": 0.2, "height": 0.2}
        frames = {"first_frame": 500, "last_frame": 510}
        clip = self.cast.clips[swim][0]
        return self._pk(ClipMask.objects.create(clip=clip, **frames, **area))

    def clip_mask(self) -> dict[str, Any]:
        return self._clip_mask("tomas")

    def withdrawn_clip_mask(self) -> dict[str, Any]:
        return self._clip_mask("sol")
