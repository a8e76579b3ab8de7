"""Photos of what is the trouble: made small, made anew without what cameras add."""

from io import BytesIO
from pathlib import Path
from uuid import UUID

from django.conf import settings
from PIL import Image, ImageOps

from scheduling.services.changeovers import UnableToReset

MOST_BYTES = 12_000_000
"""A phone's photo at its largest."""

MOST_PIXELS = 60_000_000
"""More would take a small machine's memory."""

LONGEST_PX = 1600
"""Enough to see a broken cup."""

FORMATS = ("JPEG", "PNG", "WEBP")


def photo_path(uid: UUID) -> Path:
    """Return where a photo lies."""
    return Path(settings.PHOTO_DIR) / f"{uid}.jpg"


def keep_photo(*, uid: UUID, data: bytes) -> Path:
    """Keep a photo, upright and small, without place, time or camera.

    Raises
    ------
    UnableToReset
        Where it is too large, or no picture.
    """
    if len(data) > MOST_BYTES:
        raise UnableToReset("This photo is too large: 12 MB at most.")
    try:
        with Image.open(BytesIO(data), formats=FORMATS) as picture:
            small_enough = picture.width * picture.height <= MOST_PIXELS
            upright = _upright(picture) if small_enough else None
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise UnableToReset(
            "This photo can't be read: JPEG, PNG and WebP can."
        ) from error
    if upright is None:
        raise UnableToReset("This photo has too many pixels: 60 million at most.")
    upright.thumbnail((LONGEST_PX, LONGEST_PX))
    # A new picture, so that nothing but its pixels goes along.
    plain = Image.new("RGB", upright.size)
    plain.paste(upright)
    path = photo_path(uid)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    plain.save(part, "JPEG", quality=80, optimize=True)
    part.replace(path)
    return path


def _upright(picture: Image.Image) -> Image.Image:
    return ImageOps.exif_transpose(picture).convert("RGB")
