"""Photos for a printed page: each made anew as a small picture, upright, without what the camera wrote into it.

A phone's photo has millions of pixels and names the place where it was taken; neither belongs on a customer's sheet.
"""

from __future__ import annotations

import io
import warnings
from pathlib import Path
from typing import Final

from drivers.opening import Kind, read_bytes
from rig.errors import SheetError

FORMATS: Final = ("JPEG", "PNG", "WEBP", "TIFF", "GIF", "BMP")
"""What is read, by what the file holds and not by its ending (some phones write two pictures into a JPEG: the first counts)."""
PHOTO: Final = Kind("photo", 60_000_000, 0)
MOST_PIXELS: Final = 150_000_000
"""More has no camera of a workshop: a file that claims so is no photo but a trap."""
LONGEST_PX: Final = 1200
"""Of a side as printed: 75 mm at 400 dots an inch."""
QUALITY: Final = 80
"""Of the JPEG: some 200 kB a photo, without marks that the eye sees."""


def printable(path: Path) -> bytes:
    """A photo as a JPEG for a page.

    Raises
    ------
    FileError
        Where the file cannot be read.
    SheetError
        Where it is no photo, or a broken one.
    """
    from PIL import Image, ImageOps

    content = read_bytes(path, PHOTO)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd metadata; what counts is decided below
            with Image.open(io.BytesIO(content), formats=FORMATS) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    raise SheetError("has more pixels than any photo", where=str(path), remedy="save it smaller and add it again")
                opened.draft("RGB", (2 * LONGEST_PX, 2 * LONGEST_PX))
                upright = ImageOps.exif_transpose(opened).convert("RGB")
        upright.thumbnail((LONGEST_PX, LONGEST_PX))
        made = io.BytesIO()
        upright.save(made, "JPEG", quality=QUALITY)
    except SheetError:
        raise
    except Exception as fault:  # a library of many formats fails in many ways; the photo is named all the same
        remedy = "look at it; save it as JPEG or PNG and add it again"
        raise SheetError(f"is no photo, or a broken one ({type(fault).__name__})", where=str(path), remedy=remedy) from fault
    return made.getvalue()
