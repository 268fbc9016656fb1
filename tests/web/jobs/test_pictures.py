"""Pictures are checked, turned upright, stripped of metadata and made small, or refused."""

import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from layflat.base import InputError
from layflat.web.jobs import pictures
from layflat.web.jobs.models import Fault, Job
from layflat.web.jobs.pictures import KEPT_SIDE_PX, THUMB_SIDE_PX, read_picture
from layflat.web.people.models import Role
from web.jobs.conftest import jpeg

ORIENTATION, GPS = 0x0112, 0x8825


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


def png_that_says(width: int, height: int) -> bytes:
    """A PNG of a few bytes whose header claims a size (PNG specification 11.2.1)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        whole = kind + data
        return struct.pack(">I", len(data)) + whole + struct.pack(">I", zlib.crc32(whole))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    packed = zlib.compress(bytes(1000))
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")
    )


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
HEIC = b"\x00\x00\x00\x18ftypheic" + bytes(400)
REFUSED = {
    "a text named .jpg": (b"just words, no picture", "no picture"),
    "an SVG with a script": (SVG, "no picture"),
    "a PNG of 20,000 by 20,000": (png_that_says(20_000, 20_000), "50 million pixels"),
    "a PNG of 10,000 by 10,000": (png_that_says(10_000, 10_000), "50 million pixels"),
    "a PNG of 9,000 by 9,000": (png_that_says(9_000, 9_000), "50 million pixels"),
    "a JPEG that was cut off": (jpeg()[:-2_000], "cut off"),
    "a PNG without its pixels": (png_that_says(600, 600), "cut off"),
    "HEIC": (HEIC, "set the camera to save JPEG"),
    "a GIF": (b"GIF89a" + bytes(40), "no picture"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_refused_and_why(name: str) -> None:
    data, says = REFUSED[name]
    with pytest.raises(InputError, match=says):
        read_picture(io.BytesIO(data))


def test_too_many_bytes_are_not_even_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "MOST_BYTES", 1_000)
    file = io.BytesIO(jpeg())
    with pytest.raises(InputError, match="larger than"):
        read_picture(file)
    assert file.tell() == 1_001


def test_metadata_is_dropped_and_the_picture_stands_upright() -> None:
    """Orientation 6 of Exif 2.3 (4.6.4): the first row is shown on the right."""
    image = Image.new("RGB", (400, 200), "white")
    image.paste("black", (0, 0, 400, 100))
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    exif[0x013B] = "somebody"
    exif.get_ifd(GPS)[2] = (47.0, 4.0, 0.0)
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif, comment=b"where we live", quality=95)
    assert opened(out.getvalue()).getexif().get_ifd(GPS)
    kept = read_picture(io.BytesIO(out.getvalue()))
    for data in (kept.whole, kept.thumb):
        seen = opened(data)
        assert seen.size[0] * 2 == seen.size[1]
        assert not dict(seen.getexif())
        assert not {"comment", "exif", "icc_profile"} & set(seen.info)
        assert b"where we live" not in data
        # The black upper half is now the right half.
        left, right = seen.getpixel((10, 50)), seen.getpixel((seen.width - 10, 50))
        assert isinstance(left, tuple)
        assert isinstance(right, tuple)
        assert left[0] > 200
        assert right[0] < 50


@pytest.mark.parametrize("size", [(6000, 4000), (300, 5000), (40, 30)])
def test_sides_are_bounded_and_the_shape_stays(size: tuple[int, int]) -> None:
    kept = read_picture(io.BytesIO(jpeg(*size)))
    for data, most in ((kept.whole, KEPT_SIDE_PX), (kept.thumb, THUMB_SIDE_PX)):
        seen = opened(data)
        assert seen.format == "JPEG"
        assert max(seen.size) == min(most, max(size))
        assert seen.width / seen.height == pytest.approx(size[0] / size[1], rel=0.05)


def test_see_through_pixels_come_out_on_white() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (50, 50), (255, 0, 0, 0)).save(out, "PNG")
    assert opened(read_picture(io.BytesIO(out.getvalue())).whole).getpixel((5, 5)) == (255,) * 3


@pytest.mark.parametrize("name", REFUSED)
def test_a_refused_upload_leaves_nothing_and_loses_nothing(
    signed_in: Callable[[Role], Client],
    sent: Callable[..., dict[str, Any]],
    on_walk: Job,
    tmp_path: Path,
    name: str,
) -> None:
    data, says = REFUSED[name]
    upload = SimpleUploadedFile("picture.jpg", data, content_type="image/jpeg")
    fields = sent(
        kind="chip", note="by the lamp", view="front", across="0.2", along="0.5", photo=upload
    )
    page = signed_in(Role.INSTALLER).post(f"/jobs/{on_walk.number}/faults/", fields)
    shown = page.content.decode()
    assert says in shown
    assert 'value="by the lamp"' in shown
    assert 'name="across" value="0.2"' in shown
    assert 'value="chip" checked' in shown
    assert not Fault.objects.exists()
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]
