"""Photos of what is the trouble: made small, made anew without what cameras add."""

from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from uuid import UUID

from django.conf import settings
from PIL import Image, ImageOps

from scheduling.models import Press
from scheduling.services.changeovers import UnableToReset

MOST_BYTES = 12_000_000
"""A phone's photo at its largest."""

MOST_PIXELS = 60_000_000
"""More would take a small machine's memory."""

LONGEST_PX = 1600
"""Enough to see a broken cup."""

FORMATS = ("JPEG", "PNG", "WEBP")


KEPT = timedelta(days=90)
"""A photo of trouble shows what is to be mended; then nobody needs it any more."""


def forget_photos(*, now: datetime) -> int:
    """Delete the photos whose time is over, and say of each that it is gone.

    The words of the trouble stay. Files that belong to no press go too. Returns how
    many files were deleted.
    """
    old = Press.objects.filter(
        does=Press.Does.PHOTO, received_at__lt=now - KEPT, says=""
    )
    gone = list(old.values_list("uid", flat=True))
    old.update(says=f"This photo was deleted after {KEPT.days} days.")
    folder = Path(settings.PHOTO_DIR)
    photos = Press.objects.filter(does=Press.Does.PHOTO, says="")
    kept = {photo_path(uid) for uid in photos.values_list("uid", flat=True)}
    latest = (now - KEPT).timestamp()
    paths = {photo_path(uid) for uid in gone}
    paths |= {one for one in folder.glob("*") if one.stat().st_mtime < latest}
    found = [one for one in paths - kept if one.exists()]
    for one in found:
        one.unlink(missing_ok=True)
    return len(found)


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
