"""Bringing recordings in, and placing them in time."""

from __future__ import annotations

import datetime as dt
import subprocess
import uuid
from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings
from django.utils import timezone

from clinics.media.probe import probe
from clinics.media.sandbox import Limits
from clinics.models import Tie, Upload
from tests.cast import make_still, make_stored, save_frame_table
from tests.matrix.cast_things import CastThings
from tests.matrix.rows import SIGNED_IN, Row

ROWS: dict[str, Row] = {
    "clinics:bring-in": Row("clinic", get="KR"),
    "clinics:bring-in-states": Row("clinic", get="KR"),
    "clinics:station-uploads": Row("station", get="KR"),
    "clinics:upload-form": Row("station", post="KR"),
    "clinics:tus": Row(
        post=SIGNED_IN
    ),  # the station stands in a header: test_an_upload_to_a_hidden_station…
    "clinics:upload": Row("upload", head="R", patch="R", delete="R"),
    "clinics:upload-take-in": Row("upload", post="R"),
    "clinics:upload-give-up": Row("upload", post="R"),
    "clinics:recording": Row("recording", get="KR"),
    "clinics:recording-strip": Row("recording", get="KR"),
    "clinics:recording-frames": Row("filmed", get="KR"),
    "clinics:recording-frame": Row("filmed frame", get="KR"),
    "clinics:recording-fit": Row("recording", get="KRA"),
    "clinics:recording-tie": Row("recording", post="KR"),
    "clinics:tie-two": Row("recording", get="KR", post="KR"),
    "clinics:recording-place": Row("recording", post="KR"),
    "clinics:recording-slow-motion": Row("recording", post="KR"),
    "clinics:tie-remove": Row("tie", post="KR"),
    "clinics:clinic-fit": Row("clinic", get="KRA"),
    "clinics:heard-starts": Row("clinic", get="KR", post="KR"),
}


def film(path: Path) -> None:
    """One second, 25 pictures."""
    source = ["-f", "lavfi", "-i", "testsrc=size=320x180:rate=25:duration=1"]
    codec = ["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-f", "mp4"]
    command = ["ffmpeg", "-nostdin", "-v", "error", "-y", *source, *codec, str(path)]
    subprocess.run(command, check=True, timeout=60)


class FootageThings(CastThings):
    def _recording(self) -> Any:
        row = self.cast.recordings["start-side"]
        row.contact_strip = make_stored(
            self.cast.harbour, make_still((9, 80, 99)), kind="contact-strip", suffix=".jpg"
        )
        row.save()
        return row

    def recording(self) -> dict[str, Any]:
        return self._pk(self._recording())

    def filmed(self) -> dict[str, Any]:
        """A recording whose original is a real one, since single pictures are decoded of it."""
        row = self._recording()
        source = row.files.get()
        path = source.stored.local_path()
        film(path)
        source.facts = probe(path, shown_name=source.name, limits=Limits()).to_dict()
        source.save()
        save_frame_table(row.frame_table.local_path(), np.arange(25, dtype=np.int64) * 3600)
        return self._pk(row)

    def filmed_frame(self) -> dict[str, Any]:
        return {**self.filmed(), "number": 12}

    def tie(self) -> dict[str, Any]:
        row = Tie.objects.create(
            recording=self.cast.recordings["start-side"],
            kind="start-seen",
            pts_ticks=3600,
            swim=self.cast.swims["tomas"],
            u_ms=20,
            placed_by=self.cast.checker,
        )
        return self._pk(row)

    def _upload(self) -> Upload:
        row = Upload.objects.create(
            station=self.cast.start_side,
            owner=self.cast.crew,
            card=uuid.uuid4(),
            name="00012.MTS",
            size_bytes=1000,
            expires_at=timezone.now() + dt.timedelta(days=1),
        )
        part = Path(settings.UPLOADS_DIR) / f"{row.pk}.part"
        part.parent.mkdir(parents=True, exist_ok=True)
        part.touch()
        return row

    def upload(self) -> dict[str, Any]:
        return self._pk(self._upload())

    def upload_job(self) -> dict[str, Any]:
        return self._pk(self._job("take-in", self._upload(), self.cast.crew))
