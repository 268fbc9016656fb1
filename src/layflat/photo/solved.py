"""What pictures show of the frame, and what was solved from it."""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray, frozen
from layflat.photo.lens import LENS_VALUES, Lens
from layflat.photo.records import Mask


@dataclass(frozen=True, eq=False, kw_only=True)
class Sighting:
    """The corners that one picture shows.

    Attributes:
        name: what messages call the picture.
        camera: pictures with the same key share their lens.
        width_px, height_px: of the picture.
        focal_px: from the picture's notes, or None.
        sheet: (n,) int64: numbers of the sheets.
        corner: (n,) int64: index of the corner on its sheet.
        board_mm: (n, 2) float64: where the corner is on its sheet.
        pixels: (n, 2) float64: where it is seen.
        sigma_px: (n,) float64: standard deviation of that.
    """

    name: str
    camera: str
    width_px: int
    height_px: int
    focal_px: float | None
    sheet: IntArray
    corner: IntArray
    board_mm: FloatArray
    pixels: FloatArray
    sigma_px: FloatArray

    def kept(self, keep: Mask) -> "Sighting":
        """The same with only the corners where *keep* (n,) is true."""
        return Sighting(
            name=self.name,
            camera=self.camera,
            width_px=self.width_px,
            height_px=self.height_px,
            focal_px=self.focal_px,
            sheet=self.sheet[keep],
            corner=self.corner[keep],
            board_mm=self.board_mm[keep],
            pixels=self.pixels[keep],
            sigma_px=self.sigma_px[keep],
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class Solved:
    """The pictures' common solution, in mm as printed.

    Attributes:
        sightings: the corners that were used.
        lenses: one for each camera, in order of their first picture.
        lens_of: (p,) int64: the lens of each picture.
        poses: (p, 6) float64: turn and shift from the plane into each camera's axes.
        sheets: their numbers, in order.
        places: (s, 3) float64: where each sheet's origin lies in the plane, and its turn.
        aspect: the printer's scale across over that along, less 1.
        covariance: (m, m) float64 of lenses, poses, places and aspect, in that order; the first
            sheet's place is fixed and has no variance.
        residuals_px: for each picture (n, 2) float64: seen less predicted.
        variance: the residuals' mean square in their standard deviations.
    """

    sightings: tuple[Sighting, ...]
    lenses: tuple[Lens, ...]
    lens_of: IntArray
    poses: FloatArray
    sheets: tuple[int, ...]
    places: FloatArray
    aspect: float
    covariance: FloatArray
    residuals_px: tuple[FloatArray, ...]
    variance: float

    def __post_init__(self) -> None:
        for name in ("poses", "places", "covariance"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def reprojection_px(self) -> float:
        """Root mean square distance between seen and predicted corners."""
        squares = np.concatenate([np.sum(each**2, axis=1) for each in self.residuals_px])
        return float(np.sqrt(squares.mean()))

    def on_plane(self, number: int, board_mm: FloatArray) -> FloatArray:
        """(n, 2) float64: points (n, 2) of a sheet, by its number, in the plane."""
        return on_plane(self.places[self.sheets.index(number)], self.aspect, board_mm)

    def columns(self, picture: int) -> tuple[slice, slice]:
        """Where the covariance has a picture's lens and its pose."""
        lens = int(self.lens_of[picture]) * LENS_VALUES
        pose = len(self.lenses) * LENS_VALUES + 6 * picture
        return slice(lens, lens + LENS_VALUES), slice(pose, pose + 6)


def on_plane(place: FloatArray, aspect: float, board_mm: FloatArray) -> FloatArray:
    """(n, 2) float64: points of a sheet that lies at *place* (3,)."""
    cos, sin = np.cos(place[2]), np.sin(place[2])
    x, y = board_mm[:, 0], board_mm[:, 1] * (1.0 + aspect)
    return np.column_stack((cos * x - sin * y + place[0], sin * x + cos * y + place[1]))
