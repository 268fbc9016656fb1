"""Photographs read within bounds: JPEG, PNG and HEIC, upright, as linear light."""

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from layflat.base import read_bytes
from layflat.photo.records import Grey, PhotoError, read_only

MOST_BYTES: Final = 60_000_000
MOST_PIXELS: Final = 64_000_000
LEAST_PIXELS: Final = 1_000_000
MOST_SIDE_PX: Final = 4400
"""Larger pictures are made smaller first: their further pixels hold hardly more."""
_FULL_FRAME_MM: Final = 43.2666
"""Diagonal of 36 × 24 mm, which the focal length in a picture's notes is said for."""
_WEIGHTS: Final = (0.2126, 0.7152, 0.0722)
_HEIF_BRANDS: Final = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_WHEN_DAMAGED: Final = (
    OSError, ValueError, SyntaxError, RuntimeError, EOFError, MemoryError,
)  # fmt: skip
_EXIF_IFD, _MODEL, _MAKE, _FOCAL_35, _FOCAL = 0x8769, 0x0110, 0x010F, 0xA405, 0x920A


@dataclass(frozen=True, eq=False, kw_only=True)
class Photo:
    """One photograph.

    Attributes:
        name: what messages call it.
        grey: (H, W) uint8, as the camera coded it.
        light: (H, W) float32: linear light, 0 to 1.
        focal_px: from the picture's notes, a start value only; None where they say nothing.
        camera: the same for pictures that share a lens.
        notes: what was done to it.
    """

    name: str
    grey: NDArray[np.uint8]
    light: Grey
    focal_px: float | None
    camera: str
    notes: tuple[str, ...] = ()

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.grey.shape[1], self.grey.shape[0]


def load_photo(path: Path) -> Photo:
    """The photograph in the file at *path* (see `photo_from`).

    Raises:
        InputError: it cannot be read or used.
    """
    return photo_from(read_bytes(path, max_bytes=MOST_BYTES), name=path.name)


def photo_from(data: bytes, *, name: str) -> Photo:
    """The photograph in *data*, turned upright as its notes say.

    Raises:
        PhotoError: it is no JPEG, PNG or HEIC, broken, too large or too small.
    """
    _require_size(data, name)
    image, exif = _opened(data, name)
    pixels = np.asarray(image, dtype=np.uint8)
    return photo_of(pixels, name=name, exif=exif)


def photo_kind(data: bytes, *, name: str) -> str:
    """The media type of the photograph in *data*, found by its head alone; nothing is decoded.

    Raises:
        PhotoError: it is no JPEG, PNG or HEIC, or too large; whether the rest of it is sound,
            `photo_from` finds.
    """
    _require_size(data, name)
    heif = _is_heif(data)
    with _refusing(name):
        image = _head(data, heif=heif)
        _require_pixels(image.size, name)
        return "image/heic" if heif else f"image/{str(image.format).lower()}"


def photo_of(pixels: NDArray[np.uint8], *, name: str, exif: Any = None) -> Photo:
    """A photograph from its pixels.

    Args:
        pixels: (H, W, 3) uint8: red, green, blue in the curve of sRGB.
        name: what messages call it.
        exif: its notes, as Pillow reads them, or None.

    Raises:
        PhotoError: it is too small.
    """
    import cv2

    height, width = pixels.shape[:2]
    if width * height < LEAST_PIXELS:
        raise PhotoError(
            f"{name} has only {width} × {height} pixels; it was made smaller on its way. Send the "
            "camera's own file, not one from a messenger."
        )
    notes = []
    if max(width, height) > MOST_SIDE_PX:
        share = MOST_SIDE_PX / max(width, height)
        size = (round(width * share), round(height * share))
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        notes.append(
            f"{name} was taken down from {width} × {height} to {size[0]} × {size[1]} pixels."
        )
    focal_mm, camera = _camera(exif)
    diagonal = float(np.hypot(*pixels.shape[:2]))
    long, short = max(pixels.shape[:2]), min(pixels.shape[:2])
    return Photo(
        name=name,
        grey=read_only(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8),
        light=read_only(_light(pixels), np.float32),
        focal_px=focal_mm / _FULL_FRAME_MM * diagonal if focal_mm else None,
        camera=f"{camera} {pixels.shape[1]}×{pixels.shape[0]}" if long != short else camera,
        notes=tuple(notes),
    )


def _light(pixels: NDArray[np.uint8]) -> Grey:
    """Linear light of sRGB pixels (IEC 61966-2-1), the colours by their share in luminance."""
    import cv2

    code = np.arange(256) / 255.0
    curve = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    light = np.zeros(pixels.shape[:2], dtype=np.float32)
    for channel, weight in enumerate(_WEIGHTS):
        light += cv2.LUT(pixels[:, :, channel], (weight * curve).astype(np.float32))
    return light


def _opened(data: bytes, name: str) -> tuple[Any, Any]:
    """The picture, upright and in red, green and blue, and its notes."""
    from PIL import Image, ImageOps

    heif = _is_heif(data)
    with _refusing(name):
        image = _head(data, heif=heif)
        _require_pixels(image.size, name)
        if heif:
            image = image.to_pillow()
        exif = image.getexif()
        if not heif:  # whose reader has turned it upright already
            image = ImageOps.exif_transpose(image)
        if image.mode.startswith("I"):
            deep = np.asarray(image).astype(np.float64)
            image = Image.fromarray((deep / 257.0).clip(0, 255).astype(np.uint8))
        elif "A" in image.mode or "transparency" in image.info:
            ground = Image.new("RGBA", image.size, "white")
            image = Image.alpha_composite(ground, image.convert("RGBA"))
        return image.convert("RGB"), exif


@contextmanager
def _refusing(name: str) -> Iterator[None]:
    """What readers of pictures raise, as sentences; what they warn of is left unsaid."""
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except Image.DecompressionBombError:
        raise _too_many(name, None) from None
    except UnidentifiedImageError:
        raise _no_photograph(name) from None
    except PhotoError:
        raise
    except _WHEN_DAMAGED as error:
        raise _damaged(name) from error


def _is_heif(data: bytes) -> bool:
    return data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS


def _head(data: bytes, *, heif: bool) -> Any:
    """A picture of which only the head was read; a HEIC picture by its own reader."""
    if heif:
        import pi_heif

        return pi_heif.open_heif(io.BytesIO(data))
    from PIL import Image

    return Image.open(io.BytesIO(data), formats=("JPEG", "PNG"))


def _require_size(data: bytes, name: str) -> None:
    if len(data) > MOST_BYTES:
        raise PhotoError(
            f"{name} has {len(data) / 1e6:.0f} MB; a photograph may have "
            f"{MOST_BYTES / 1e6:.0f} MB at most. Send the camera's own JPEG or HEIC."
        )


def _require_pixels(size: tuple[int, int], name: str) -> None:
    if size[0] * size[1] > MOST_PIXELS:
        raise _too_many(name, size[0] * size[1])


def _no_photograph(name: str) -> PhotoError:
    return PhotoError(f"{name} is no photograph that can be read; send a JPEG, PNG or HEIC file.")


def _damaged(name: str) -> PhotoError:
    return PhotoError(f"{name} is damaged or was cut short on its way; send the file again.")


def _too_many(name: str, pixels: int | None) -> PhotoError:
    much = "far too many" if pixels is None else f"{pixels / 1e6:.0f} million"
    return PhotoError(
        f"{name} has {much} pixels; at most {MOST_PIXELS / 1e6:.0f} million are read. Set the "
        "camera to 12 megapixels."
    )


def _camera(exif: Any) -> tuple[float | None, str]:
    """The focal length for full frame in mm, if noted, and what tells one lens from another."""
    if exif is None:
        return None, "camera"
    detail = exif.get_ifd(_EXIF_IFD)
    focal = _number(detail.get(_FOCAL_35))
    words = [str(exif.get(tag, "")).strip("\x00 ") for tag in (_MAKE, _MODEL)]
    words.append(f"{_number(detail.get(_FOCAL)) or 0:g}/{focal or 0:g}")
    return focal if focal and 8.0 <= focal <= 400.0 else None, " ".join(words)


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) else None
