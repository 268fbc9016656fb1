"""How a surface looks on paper: a studio light for pictures, stripes to judge smoothness by.

The studio is a few lamps that go with the camera and a plain environment that is mirrored in a
clear coat (Schlick's approximation of the Fresnel term, from memory). Colours are mixed in
linear light and stored in sRGB (IEC 61966-2-1).
"""

from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layflat.base import FloatArray
from layflat.papers.camera import along

Values = NDArray[np.floating[Any]]
"""Numbers of single or double precision; pictures need no more than single."""


class Shading(StrEnum):
    """What a picture is for."""

    STUDIO = "studio"
    """A showroom picture: soft lamps and a clear coat."""
    PLAIN = "plain"
    """Soft lamps only, colours kept as they are: for maps whose colours carry numbers."""
    ZEBRA = "zebra"
    """Mirrored stripes: they run on without a kink where the surface is smooth."""


def to_linear(srgb: FloatArray) -> FloatArray:
    """Linear light of sRGB values, both 0 to 1."""
    values: FloatArray = np.where(
        srgb <= 0.04045, srgb / 12.92, ((np.maximum(srgb, 0.04045) + 0.055) / 1.055) ** 2.4
    )
    return values


def to_srgb(linear: FloatArray) -> FloatArray:
    """SRGB values of linear light, both 0 to 1; more than 1 is cut off."""
    light = np.clip(linear, 0.0, 1.0)
    values: FloatArray = np.where(
        light <= 0.0031308,
        12.92 * light,
        1.055 * np.maximum(light, 0.0031308) ** (1 / 2.4) - 0.055,
    )
    return values


def shade(
    shading: Shading,
    *,
    normals: Values,
    to_eye: Values,
    colours: Values,
    gloss: Values,
    openness: Values,
    camera: Values,
) -> Values:
    """The light that each point sends to the eye.

    Args:
        shading: the manner.
        normals: (k, 3), unit, on the side of the eye.
        to_eye: (k, 3), unit.
        colours: (k, 3), linear light, 0 to 1.
        gloss: (k,), 0 is matt, 1 a clear coat, more is glass.
        openness: (k,), how much of the sky each point sees, 0 to 1.
        camera: (3, 3), rows right, up and towards the eye.

    Returns:
        (k, 3) linear light, 0 to about 1; of single precision if all that came in is.
    """
    facing = np.clip(np.einsum("ij,ij->i", normals, to_eye), 0.02, 1.0)
    if shading is Shading.ZEBRA:
        mirrored = 2.0 * facing[:, None] * normals - to_eye
        stripes = 0.5 + 0.5 * np.tanh(
            6.0 * np.sin(14.0 * np.arctan2(mirrored[:, 2], mirrored[:, 1]))
        )
        light: Values = (0.05 + 0.85 * stripes)[:, None] * np.ones(3)
        return light
    key = _lamp(camera, right=-0.45, up=0.75, near=0.55)
    fill = _lamp(camera, right=0.80, up=0.25, near=0.50)
    sky = 0.5 + 0.5 * normals[:, 2]
    diffuse = (
        0.20
        + 0.30 * sky * openness
        + 0.48 * np.clip(along(normals, key), 0.0, None) * (0.35 + 0.65 * openness)
        + 0.16 * np.clip(along(normals, fill), 0.0, None)
    ) * (0.30 + 0.70 * openness)
    lit = colours * diffuse[:, None]
    if shading is Shading.PLAIN:
        plain: Values = colours * (0.62 + 0.42 * diffuse / 0.9)[:, None]
        return plain
    mirrored = 2.0 * facing[:, None] * normals - to_eye
    fresnel = 0.03 + 0.97 * (1.0 - facing) ** 5
    strength = np.clip(fresnel, 0.0, 0.6) * gloss * (0.25 + 0.75 * openness)
    mirror = _environment(mirrored)
    spark = np.clip(along(mirrored, key), 0.0, 1.0) ** 90 * 0.35 * gloss * openness
    result: Values = lit + (strength * mirror)[:, None] + spark[:, None]
    return result


def _lamp(camera: Values, *, right: float, up: float, near: float) -> Values:
    direction = right * camera[0] + up * camera[1] + near * camera[2]
    lamp: Values = direction / np.linalg.norm(direction)
    return lamp


def _environment(direction: Values) -> Values:
    """A room of paper: dim floor, light walls, one wide soft lamp overhead."""
    height = direction[:, 2]
    walls = 0.30 + 0.45 * np.clip(0.5 + 0.5 * np.tanh(height / 0.10), 0.0, 1.0)
    lamp = 1.1 * np.clip((height - 0.55) / 0.22, 0.0, 1.0)
    light: Values = walls + lamp
    return light
