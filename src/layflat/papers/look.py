"""The one visual language of papers and pictures: colours, type, line styles.

`docs/look.md` says why. Colours are sRGB hex strings, type sizes points, lengths paper mm.
The categories are the colour-blind-safe set of M. Okabe and K. Ito, *Color Universal Design*
(2002, rev. 2008). No colour ever stands alone: a word or a shape says the same.
"""

from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from layflat.base import FloatArray
from layflat.surface import EdgeKind

PAPER: Final = "#FFFFFF"
"""The ground of a printed sheet."""
GROUND: Final = "#F6F3EC"
"""The ground of a screen, and of a tinted box on a sheet."""
INK: Final = "#211F1C"
"""Text and outlines."""
PENCIL: Final = "#5A554E"
"""What stands behind: secondary text, hatching, construction lines."""
LINE: Final = "#BDB7AB"
"""Hairlines between things; never carries meaning alone."""
CHALK: Final = "#0072B2"
"""The one accent, the blue of the set: what a person has to act on."""

OKABE_ITO: Final = {
    "black": "#000000",
    "orange": "#E69F00",
    "sky blue": "#56B4E9",
    "bluish green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermillion": "#D55E00",
    "reddish purple": "#CC79A7",
}
"""The categories, where several things must be told apart at a glance."""

SANS: Final = "Source Sans Pro"
SERIF: Final = "Libertinus Serif"

DASHES: Final = {
    EdgeKind.OPEN: (),
    EdgeKind.GAP: (3.2, 1.4),
    EdgeKind.TRIM: (3.2, 1.1, 0.5, 1.1),
    EdgeKind.INNER: (0.6, 1.1),
}
"""How each kind of edge is drawn: dash and space lengths in paper mm; none is a full line."""

_NEUTRAL: Final = "#F7F5F1"
_STRETCH: Final = ("#F3C58B", "#D9822B", "#A34708", "#5C2404")
_COMPRESSION: Final = ("#BDBBE4", "#837FC4", "#4B4596", "#211B57")


def strain_colours(position: FloatArray) -> NDArray[np.uint8]:
    """Colours of the diverging strain scale.

    Paper-white in the middle, ochre to brown for stretch, lilac to violet for compression. The
    scale is linear in CIELAB between its anchors, and lightness falls steadily on either
    side, so that it reads in grey and with any kind of colour vision.

    Args:
        position: any shape, -1 (strong compression) to 1 (strong stretch); beyond is clipped.

    Returns:
        The shape of *position* with a last axis of 3: sRGB, uint8.
    """
    scale = _strain_scale()
    nearest = np.rint((np.clip(position, -1.0, 1.0) + 1.0) * (0.5 * (len(scale) - 1)))
    rgb: NDArray[np.uint8] = scale[nearest.astype(np.int64)]
    return rgb


@cache
def _strain_scale() -> NDArray[np.uint8]:
    """The scale in steps too fine for 8 bits to show, (4097, 3)."""
    anchors = [*reversed(_COMPRESSION), _NEUTRAL, *_STRETCH]
    lab = _srgb_to_lab(np.array([_rgb(colour) for colour in anchors]))
    at = np.linspace(-1.0, 1.0, len(anchors))
    fine = np.linspace(-1.0, 1.0, 4097)
    mixed = np.stack([np.interp(fine, at, lab[:, i]) for i in range(3)], axis=-1)
    rgb: NDArray[np.uint8] = np.rint(_lab_to_srgb(mixed) * 255.0).astype(np.uint8)
    return rgb


def strain_hex(position: float) -> str:
    """One colour of the strain scale (see `strain_colours`)."""
    red, green, blue = (int(part) for part in strain_colours(np.array(position)))
    return f"#{red:02X}{green:02X}{blue:02X}"


def contrast_ratio(first: str, second: str) -> float:
    """The contrast ratio of two colours, 1 to 21, by the formula of WCAG 2.2."""
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    return float(_linear(np.array(_rgb(colour))) @ np.array([0.2126, 0.7152, 0.0722]))


def _rgb(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return red, green, blue


def _linear(srgb: FloatArray) -> FloatArray:
    linear: FloatArray = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return linear


# sRGB to CIE XYZ at the white point D65, by IEC 61966-2-1.
_TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
_WHITE = _TO_XYZ.sum(axis=1)
_KNEE = 6.0 / 29.0


def _srgb_to_lab(srgb: FloatArray) -> FloatArray:
    ratio = _linear(srgb) @ _TO_XYZ.T / _WHITE
    f = np.where(ratio > _KNEE**3, np.cbrt(ratio), ratio / (3 * _KNEE**2) + 4.0 / 29.0)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def _lab_to_srgb(lab: FloatArray) -> FloatArray:
    y = (lab[..., 0] + 16.0) / 116.0
    f = np.stack([y + lab[..., 1] / 500.0, y, y - lab[..., 2] / 200.0], axis=-1)
    ratio = np.where(f > _KNEE, f**3, 3 * _KNEE**2 * (f - 4.0 / 29.0))
    linear = np.clip((ratio * _WHITE) @ np.linalg.inv(_TO_XYZ).T, 0.0, 1.0)
    curved = 1.055 * linear ** (1 / 2.4) - 0.055
    srgb: FloatArray = np.where(linear <= 0.0031308, linear * 12.92, curved)
    return srgb
