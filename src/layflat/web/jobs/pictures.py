"""Pictures from a tablet's camera: checked in bounds, turned upright, stripped, made small.

What is kept is never what was sent: the picture is decoded and encoded anew, so neither metadata
(place, owner, camera) nor anything hidden beside the pixels stays.
"""

import io
from dataclasses import dataclass
from typing import BinaryIO, Final

from PIL import Image, ImageCms, ImageOps

from layflat.base import InputError

MOST_BYTES: Final = 25_000_000
MOST_PIXELS: Final = 50_000_000
KEPT_SIDE_PX: Final = 2560
"""The longer side of a kept picture, at most."""
THUMB_SIDE_PX: Final = 320
MEDIA_TYPE: Final = "image/jpeg"

_FORMATS: Final = ("JPEG", "PNG", "WEBP")
_QUALITY: Final = 85
_HEIF_BRANDS: Final = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")


@dataclass(frozen=True)
class Picture:
    """A picture as it is kept: JPEG, upright, without metadata.

    Attributes:
        whole: at most `KEPT_SIDE_PX` long.
        thumb: at most `THUMB_SIDE_PX` long.
    """

    whole: bytes
    thumb: bytes


def read_picture(file: BinaryIO) -> Picture:
    """Check a picture and make what is kept of it.

    Args:
        file: a JPEG, PNG or WebP file; no more than `MOST_BYTES` of it are read.

    Raises:
        InputError: it is too large, damaged, or no such picture.
    """
    data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise InputError(
            f"The picture is larger than {MOST_BYTES // 1_000_000} MB; take it with a lower "
            "resolution."
        )
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        raise InputError(
            "The picture is in the HEIC format, which cannot be read here; set the camera to save "
            "JPEG and take it again."
        )
    try:
        image = Image.open(io.BytesIO(data), formats=_FORMATS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many_pixels() from error
    except (OSError, ValueError, SyntaxError) as error:
        raise InputError("This is no picture; take one in JPEG, PNG or WebP.") from error
    with image:
        if image.width * image.height > MOST_PIXELS:
            raise _too_many_pixels()
        # A large JPEG is decoded at a fraction of its size: less time and memory.
        image.draft("RGB", (KEPT_SIDE_PX, KEPT_SIDE_PX))
        try:
            upright = ImageOps.exif_transpose(image)
            plain = _as_srgb(upright)
        except (OSError, ValueError, SyntaxError, MemoryError) as error:
            raise InputError(
                "The picture is damaged or was cut off on its way; take it again."
            ) from error
    return Picture(_jpeg(plain, KEPT_SIDE_PX), _jpeg(plain, THUMB_SIDE_PX))


def _too_many_pixels() -> InputError:
    return InputError(
        f"The picture has more than {MOST_PIXELS // 1_000_000} million pixels; take it with a "
        "lower resolution."
    )


def _as_srgb(image: Image.Image) -> Image.Image:
    """The pixels alone, on white where they were see-through, in the colours of the web."""
    profile = image.info.get("icc_profile")
    if image.has_transparency_data:
        ground = Image.new("RGBA", image.size, "white")
        image = Image.alpha_composite(ground, image.convert("RGBA"))
    plain = image.convert("RGB")
    plain.info = {}
    if profile and image.mode in ("RGB", "RGBA"):
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            ImageCms.profileToProfile(plain, source, ImageCms.createProfile("sRGB"), inPlace=True)
        except ImageCms.PyCMSError:
            # A profile that cannot be read is left out; the picture still shows what it must.
            plain.info = {}
    plain.info = {}
    return plain


def _jpeg(image: Image.Image, side_px: int) -> bytes:
    small = image.copy()
    small.thumbnail((side_px, side_px), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return out.getvalue()
