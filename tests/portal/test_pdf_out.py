"""PDF beside everything else that the process does."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image, ImageFile

from clinics.media.errors import Damaged
from clinics.media.images import open_image
from portal.pdf_out import pdf_bytes

CUT_OFF = 9000


def test_a_cut_off_picture_stays_damaged_after_a_pdf_was_made(tmp_path: Path) -> None:
    """The library of PDF would have Pillow take it for a whole one."""
    pages = pdf_bytes("portal/nothing_yet.html", {})
    assert pages.startswith(b"%PDF-")  # ISO 32000-1, 7.5.2
    assert ImageFile.LOAD_TRUNCATED_IMAGES is False
    whole = io.BytesIO()
    Image.effect_noise((200, 200), 50).save(whole, format="PNG")
    path = tmp_path / "sheet.png"
    path.write_bytes(whole.getvalue()[:CUT_OFF])
    with pytest.raises(Damaged, match="sheet.png is damaged"):
        open_image(path)
