"""Photos on the hand-over sheet: printed small, upright, without the camera's notes; a broken one is named."""

import datetime
import io

import pytest
from PIL import Image, ImageDraw
from pypdf import PdfReader

from analysis.errors import BenchError
from rig.sheets.annex import MOST_PHOTOS, annex
from rig.sheets.blocks import Page, Photo, Photos
from rig.sheets.photos import LONGEST_PX, MOST_PIXELS, printable
from rig.sheets.phrases import Phrases
from rig.sheets.printing import set_pdf

PLACE = b"52 deg 31 min N"
ORIENTATION, GPS = 0x0112, 0x8825


def photo(path, size=(1600, 1000), *, turned=None, form="JPEG"):
    """A photo whose left half is red; `turned` as a camera notes it, with the place in its metadata."""
    made = Image.new("RGB", size, "blue")
    ImageDraw.Draw(made).rectangle((0, 0, size[0] // 2, size[1]), fill="red")
    exif = Image.Exif()
    exif[0x010E] = PLACE.decode()
    if turned is not None:
        exif[ORIENTATION] = turned
    made.save(path, form, exif=exif)
    return path


def read(content):
    return Image.open(io.BytesIO(content))


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_a_photo_is_made_small_and_keeps_its_shape(tmp_path, form):
    made = read(printable(photo(tmp_path / "a.bin", form=form)))  # by what it holds, not by its ending
    assert made.format == "JPEG"
    assert made.size == (LONGEST_PX, LONGEST_PX * 1000 // 1600)


def test_a_photo_held_upright_stands_upright(tmp_path):
    made = read(printable(photo(tmp_path / "a.jpg", turned=6)))  # the camera was turned by 90 degrees
    assert made.size == (LONGEST_PX * 1000 // 1600, LONGEST_PX)
    red, _, blue = made.getpixel((made.width // 2, 20))
    assert red > 200
    assert blue < 60


def test_what_the_camera_noted_is_not_printed(tmp_path):
    path = photo(tmp_path / "a.jpg", turned=6)
    assert PLACE in path.read_bytes()
    made = printable(path)
    assert PLACE not in made
    assert not read(made).getexif()


def cut(path):
    path.write_bytes(path.read_bytes()[:400])


def junk(path):
    path.write_bytes(b"not really")


def empty(path):
    path.write_bytes(b"")


def trap(path):
    side = int(MOST_PIXELS**0.5) + 10
    Image.new("1", (side, side)).save(path, "PNG")


@pytest.mark.parametrize("spoil", [cut, junk, empty, trap])
def test_a_broken_photo_is_named_in_a_sentence(tmp_path, spoil):
    path = photo(tmp_path / "plug.jpg")
    spoil(path)
    with pytest.raises(BenchError, match=r"plug\.jpg"):
        printable(path)


def kept(count, **more):
    at = "2026-03-05T11:00:00+01:00"
    return {"photos": [{"entry": n, "name": f"p{n}.jpg", "at": at, "struck": None, **more} for n in range(1, count + 1)]}


def of_kind(blocks, kind):
    return [block for block in blocks if isinstance(block, kind)]


def test_photos_that_cannot_be_printed_are_listed_with_the_others(tmp_path):
    blocks = annex(kept(3), Phrases(), {2: b"jpeg"})
    [photos] = of_kind(blocks, Photos)
    assert [one.caption for one in photos.photos] == ["entry 2: p2.jpg, 2026-03-05 11:00"]
    listed = " ".join(str(block) for block in blocks)
    assert "entry 1: p1.jpg" in listed
    assert "entry 3: p3.jpg" in listed


def test_so_many_and_no_more_are_printed_the_newest(tmp_path):
    blocks = annex(kept(20), Phrases(), dict.fromkeys(range(1, 21), b"jpeg"))
    [photos] = of_kind(blocks, Photos)
    assert len(photos.photos) == MOST_PHOTOS
    assert "p20.jpg" in photos.photos[-1].caption


def test_a_page_with_photos_is_pdf_a_tagged_small_and_the_same_bytes(tmp_path):
    made = printable(photo(tmp_path / "a.jpg", size=(4000, 3000)))
    one = Photo(made, "entry 7: plug.jpg, magnet")
    page = Page(title="t", subtitle="", right=(), blocks=(Photos((one, one, one)),), foot="f", page_of="{page} of {pages}")
    first, again = (set_pdf(page, language="en", day=datetime.date(2026, 3, 5)) for _ in range(2))
    assert first == again
    reader = PdfReader(io.BytesIO(first))
    assert made[200:1200] in first  # the very picture, once for all three
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert len(first) < 3 * len(made) + 200_000
