"""Photographs in: turned upright, within bounds, or refused in one sentence."""

import io
import struct
import zlib

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from layflat.photo import PhotoError, photo_from, photo_kind

WIDE, HIGH = 1280, 800


def picture() -> Image.Image:
    """Dark, but for its upper left quarter, which is green."""
    pixels = np.full((HIGH, WIDE, 3), 20, dtype=np.uint8)
    pixels[: HIGH // 2, : WIDE // 2] = (0, 188, 0)
    return Image.fromarray(pixels)


def written(image: Image.Image, form: str, **how: object) -> bytes:
    into = io.BytesIO()
    image.save(into, form, **how)
    return into.getvalue()


def corner_light(data: bytes) -> tuple[tuple[int, int], float, float]:
    photo = photo_from(data, name="a picture")
    light = photo.light
    return photo.size, float(light[50, 50]), float(light[-50, -50])


def test_exif_turns_a_jpeg_upright_and_tells_the_lens() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned a quarter to the right: the sensor lay on its side
    exif[0x0110] = "Some phone"
    exif.get_ifd(0x8769)[0xA405] = 26
    stored = picture().transpose(Image.Transpose.ROTATE_90)
    data = written(stored, "JPEG", quality=95, exif=exif)
    size, lit, dark = corner_light(data)
    assert size == (WIDE, HIGH)
    # 188 of 255 is linear 0.503 by IEC 61966-2-1; green's part of luminance is 0.7152.
    assert lit == pytest.approx(0.7152 * 0.5029, abs=0.01)
    assert dark < 0.02
    photo = photo_from(data, name="a picture")
    # 26 mm on 43.27 mm of diagonal.
    assert photo.focal_px == pytest.approx(26 / 43.2666 * np.hypot(WIDE, HIGH), rel=1e-6)
    assert "Some phone" in photo.camera


def test_heic_is_turned_once() -> None:
    heif = pillow_heif.from_pillow(picture().transpose(Image.Transpose.ROTATE_90))
    exif = Image.Exif()
    exif[0x0112] = 6
    into = io.BytesIO()
    heif.save(into, quality=90, exif=exif.tobytes())
    size, lit, dark = corner_light(into.getvalue())
    assert size == (WIDE, HIGH)
    assert lit > 0.3 > 0.05 > dark


@pytest.mark.parametrize("mode", ["RGBA", "L", "P", "I;16", "CMYK"])
def test_other_kinds_of_pixels_are_read(mode: str) -> None:
    if mode == "I;16":
        deep = np.asarray(picture().convert("L")).astype(np.uint16) * 257
        image = Image.fromarray(deep)
    else:
        image = picture().convert(mode)
    data = written(image, "JPEG" if mode == "CMYK" else "PNG")
    size, lit, dark = corner_light(data)
    assert size == (WIDE, HIGH)
    assert lit > 0.1 > 0.05 > dark


def test_large_pictures_are_taken_down_and_that_is_said() -> None:
    photo = photo_from(written(Image.new("L", (5000, 250), 128), "PNG"), name="wide.png")
    assert photo.size == (4400, 220)
    assert "5000 × 250" in photo.notes[0]


def bomb(wide: int, high: int) -> bytes:
    """The head of a PNG that claims a size, with next to nothing behind it."""
    head = struct.pack(">IIBBBBB", wide, high, 8, 2, 0, 0, 0)

    def chunk(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b""))
        + chunk(b"IEND", b"")
    )


JPEG = written(picture(), "JPEG")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no photograph"),
        (b"GIF89a" + bytes(200), "no photograph"),
        (b"%PDF-1.7 and so on", "no photograph"),
        (written(Image.new("RGB", (1400, 900)), "GIF"), "no photograph"),
        (JPEG[: len(JPEG) // 2], "damaged or was cut short"),
        (b"\0\0\0\x18ftypheic" + bytes(300), "damaged or was cut short"),
        (bomb(10_000, 10_000), "100 million pixels"),
        (bomb(100_000, 100_000), "far too many pixels"),
        (bytes(60_000_001), "60 MB at most"),
        (written(Image.new("RGB", (800, 600)), "PNG"), "made smaller on its way"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_refused_in_one_sentence(data: bytes, words: str) -> None:
    with pytest.raises(PhotoError, match=words) as caught:
        photo_from(data, name="it.jpg")
    assert "it.jpg" in str(caught.value)


def test_a_kind_is_told_by_the_head_alone() -> None:
    """What the pixels are like, `photo_from` finds; here a head is enough, and nothing else is."""
    for form, kind in (("JPEG", "image/jpeg"), ("PNG", "image/png")):
        data = written(picture(), form)
        assert photo_kind(data, name="a picture") == kind
        assert photo_kind(data[: len(data) // 2], name="a picture") == kind
    into = io.BytesIO()
    pillow_heif.from_pillow(picture()).save(into)
    assert photo_kind(into.getvalue(), name="a picture") == "image/heic"
    for data, words in (
        (written(picture(), "GIF"), "no photograph that can be read"),
        (b"GIF89a", "no photograph that can be read"),
        (bomb(10_000, 10_000), "100 million pixels"),
        (bytes(60_000_001), "MB"),
    ):
        with pytest.raises(PhotoError, match=words) as caught:
            photo_kind(data, name="a picture")
        assert str(caught.value).endswith(".")
