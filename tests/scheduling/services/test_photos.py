"""Photos of trouble: small, upright, and without what cameras add."""

import os
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from uuid import uuid4

import pytest
from django.test import Client as Browser
from PIL import Image

from scheduling.services import photos
from scheduling.services.changeovers import UnableToReset
from scheduling.services.photos import KEPT, forget_photos, keep_photo, photo_path
from tests.clock import NOW, SATURDAY
from tests.factories.people import AccountFactory
from tests.factories.plans import ChangeoverFactory, DayPlanFactory, PressFactory
from tests.factories.schools import SchoolFactory

ORIENTATION, GPS, MAKER = 0x0112, 0x8825, 0x010F


@pytest.fixture(autouse=True)
def folder(settings, tmp_path: Path) -> Path:
    settings.PHOTO_DIR = tmp_path / "photos"
    return settings.PHOTO_DIR


def taken(size: tuple[int, int] = (400, 300), kind: str = "JPEG") -> bytes:
    """A photo as a camera makes it: on its side, with place and maker."""
    picture = Image.new("RGB", size, "brown")
    exif = picture.getexif()
    exif[ORIENTATION], exif[MAKER] = 6, "a phone"
    exif.get_ifd(GPS)[1] = "N"
    file = BytesIO()
    picture.save(file, kind, exif=exif, comment=b"by the gate")
    return file.getvalue()


def test_a_photo_is_kept_upright_and_says_nothing_of_its_camera() -> None:
    data = taken()
    assert b"a phone" in data

    path = keep_photo(uid=uuid4(), data=data)

    with Image.open(path) as kept:
        assert (kept.format, kept.size) == ("JPEG", (300, 400))
        assert not kept.getexif()
        assert "comment" not in kept.info
    assert b"a phone" not in path.read_bytes()


def test_a_large_photo_is_made_small() -> None:
    path = keep_photo(uid=uuid4(), data=taken((4000, 3000)))

    with Image.open(path) as kept:
        assert kept.size == (1200, 1600)


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_kinds_become_the_same(kind: str) -> None:
    file = BytesIO()
    Image.new("RGBA", (10, 10)).save(file, kind)

    with Image.open(keep_photo(uid=uuid4(), data=file.getvalue())) as kept:
        assert kept.format == "JPEG"


def test_the_same_photo_twice_is_kept_once(folder: Path) -> None:
    uid = uuid4()
    for _ in range(2):
        keep_photo(uid=uid, data=taken())

    assert list(folder.iterdir()) == [photo_path(uid)]


@pytest.mark.parametrize(
    "data", [b"", b"<svg/>", b"GIF89a\x01\x00\x01\x00", taken()[:300]]
)
def test_what_is_no_photo_is_said(data: bytes, folder: Path) -> None:
    with pytest.raises(UnableToReset, match="can't be read"):
        keep_photo(uid=uuid4(), data=data)
    assert not folder.exists()


def test_a_photo_too_large_is_said(monkeypatch) -> None:
    monkeypatch.setattr(photos, "MOST_BYTES", 10)

    with pytest.raises(UnableToReset, match="too large"):
        keep_photo(uid=uuid4(), data=taken())


def test_a_photo_of_too_many_pixels_is_said_before_it_is_unfolded(monkeypatch) -> None:
    monkeypatch.setattr(photos, "MOST_PIXELS", 100)

    with pytest.raises(UnableToReset, match="too many pixels"):
        keep_photo(uid=uuid4(), data=taken())


@pytest.mark.django_db
def test_a_photo_is_deleted_when_its_time_is_over_and_its_words_stay(
    client: Browser,
) -> None:
    SchoolFactory()
    work = ChangeoverFactory(
        plan=DayPlanFactory(state="published"), note="A piece is broken: two cups"
    )
    old, young = (
        PressFactory(
            does="photo", changeover=work, pressed_at=moment, received_at=moment
        )
        for moment in (NOW - KEPT - timedelta(hours=1), NOW - KEPT + timedelta(hours=1))
    )
    for one in (old, young):
        keep_photo(uid=one.uid, data=taken())

    assert forget_photos(now=NOW) == 1
    assert forget_photos(now=NOW) == 0

    assert not photo_path(old.uid).exists()
    assert photo_path(young.uid).exists()
    client.force_login(AccountFactory(manager=True, person=None))
    page = client.get(f"/resets/{SATURDAY}/").content.decode()
    assert "two cups" in page
    assert "This photo was deleted after 90 days." in page
    assert str(old.uid) not in page
    assert str(young.uid) in page


@pytest.mark.django_db
def test_a_file_that_belongs_to_no_press_goes_too(folder: Path) -> None:
    path = keep_photo(uid=uuid4(), data=taken())
    before = (NOW - KEPT).timestamp() - 60
    os.utime(path, (before, before))
    new = keep_photo(uid=uuid4(), data=taken())
    os.utime(new, (NOW.timestamp(), NOW.timestamp()))

    assert forget_photos(now=NOW) == 1
    assert list(folder.iterdir()) == [new]
