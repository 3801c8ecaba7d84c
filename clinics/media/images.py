"""Opening a picture that a person sent, without trusting it."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from pathlib import Path

from PIL import Image, UnidentifiedImageError

from clinics.media.errors import Damaged, TooLarge, Unsupported

ALLOWED_FORMATS = ("JPEG", "PNG", "WEBP")
MAX_PIXELS = 40_000_000


def open_image(
    path: Path,
    *,
    shown_name: str | None = None,
    formats: Sequence[str] = ALLOWED_FORMATS,
    max_pixels: int = MAX_PIXELS,
) -> Image.Image:
    """The decoded picture, of one of ``formats`` and at most ``max_pixels``.

    The size is known from the header before a pixel is decoded, and Pillow's own warning about
    decompression bombs counts as an error. Raises Unsupported, TooLarge or Damaged.
    """
    name = shown_name or path.name
    with warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            image = Image.open(path, formats=list(formats))
        except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
            raise _too_large(name, max_pixels) from error
        except (UnidentifiedImageError, OSError) as error:
            raise Unsupported(
                f"{name} is not a picture of a kind taken here ({', '.join(formats)}): "
                "save it as JPEG and send it again."
            ) from error
        if image.width * image.height > max_pixels:
            image.close()
            raise _too_large(name, max_pixels)
        try:
            image.load()
        except (OSError, SyntaxError, ValueError) as error:
            image.close()
            raise Damaged(f"{name} is damaged: copy it again and send it again.") from error
    return image


def _too_large(name: str, max_pixels: int) -> TooLarge:
    return TooLarge(
        f"{name} has more than {max_pixels // 1_000_000} million pixels: send it in a smaller size."
    )
