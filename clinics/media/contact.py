"""A contact strip with some of its stills painted over: what nobody is shown."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from clinics.media.images import open_image

Box = tuple[int, int, int, int]  # left, top, right, bottom in px, half open
QUALITY = 85
BLANK = (71, 96, 107)


def blanked(path: Path, boxes: Sequence[Box]) -> bytes:
    """The strip as JPEG with the boxes painted over before it is encoded anew: nothing of what
    was there is left in the new file."""
    image = open_image(path, formats=["JPEG"]).convert("RGB")
    for box in boxes:
        image.paste(BLANK, box)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()
