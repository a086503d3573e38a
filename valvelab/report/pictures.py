"""Pictures of other files on paper: small, upright, without what a camera wrote beside them."""

from __future__ import annotations

import io

from PIL import Image, ImageOps, UnidentifiedImageError
from reportlab.lib.utils import ImageReader

from valvelab.errors import BadFile

LARGEST_PIXELS = 60_000_000
LONGEST_SIDE = 900
"""Pixels that the longer side keeps on paper; the file is carried whole."""
FORMS = ("PNG", "JPEG")


def picture_reader(content: bytes, name: str) -> ImageReader:
    """A picture made upright and small, as the page's library takes it. Raises BadFile as `upright` does."""
    return ImageReader(upright(content, name))


def upright(content: bytes, name: str) -> Image.Image:
    """A picture made upright and small.

    Raises BadFile where the bytes are no PNG or JPEG, or too many pixels, before any is unpacked.
    """
    try:
        with Image.open(io.BytesIO(content), formats=FORMS) as image:
            wide, high = image.size
            if wide * high > LARGEST_PIXELS:
                most = f"at most {LARGEST_PIXELS // 1_000_000} million"
                raise BadFile(name, "", f"{wide} × {high} pixels", most)
            turned = ImageOps.exif_transpose(image)
            shaped = turned.convert("RGBA" if "A" in turned.getbands() or "transparency" in turned.info else "RGB")
            shaped.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
            return shaped
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        raise BadFile(name, "", "no picture that can be read", "a PNG or JPEG") from None
