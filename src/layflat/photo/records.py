"""What travels between the frame's half and the line's half of a template by photograph.

The plane is the table's: millimetres, x to the right and y up, as patterns have it. Rows of a
picture of the plane run down: row i and column j lie at
``origin_mm + mm_per_px * (j, -i)``.
"""

from dataclasses import dataclass, replace
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layflat.base import FloatArray, InputError, frozen
from layflat.pattern import Curve

Grey: TypeAlias = NDArray[np.float32]
"""Values of light, 0 to 1 (float32), or doubts in mm."""
Mask: TypeAlias = NDArray[np.bool_]

CurveKind: TypeAlias = Literal["outline", "cut-out"]
LandmarkKind: TypeAlias = Literal["cross", "dot", "square"]

_MOST_ROWS = 20_000
"""OpenCV looks up fewer rows than 32768 at once."""


class PhotoError(InputError):
    """A photograph cannot be used; the message says why and what to do.

    Attributes:
        at_mm: places in the plane that it is about, x and y of each; often none.
    """

    at_mm: tuple[tuple[float, float], ...] = ()

    def about(self, *places_mm: ArrayLike) -> "PhotoError":
        """The same error, with the places (2,) in mm that it is about."""
        places = [np.asarray(place, np.float64).reshape(2) for place in places_mm]
        self.at_mm = tuple((float(x), float(y)) for x, y in places)
        return self


def read_only(values: ArrayLike, dtype: type[Any]) -> NDArray[Any]:
    """*values* as a contiguous array that cannot be written; copied only where it must be.

    Pictures have many megabytes, so that what is contiguous and has its dtype is not copied.
    """
    array = np.ascontiguousarray(values, dtype=dtype)
    array.setflags(write=False)
    return array


def cubic_light(grey: Grey, pixels: FloatArray) -> FloatArray:
    """(n, m) float64 values of *grey* at pixels (n, m, 2) as (column, row), by cubics between."""
    import cv2

    shape = pixels.shape[:2]
    px = pixels.astype(np.float32)
    border = cv2.BORDER_REPLICATE
    parts = [
        cv2.remap(grey, part[..., 0], part[..., 1], cv2.INTER_CUBIC, borderMode=border)
        for part in np.array_split(px, max(1, -(-shape[0] // _MOST_ROWS)))
    ]
    values: FloatArray = np.concatenate(parts).astype(np.float64)
    return values


@dataclass(frozen=True, eq=False, kw_only=True)
class Sheet:
    """One printed sheet: its markers, on the sheet in mm, x to the right and y up.

    Attributes:
        number: of the sheet, from 1.
        markers: the markers' ids, each with its (4, 2) float64 corners, clockwise from the top
            left one as the sheet is read.
        corners_mm: (k, 2) float64: the corners of the board's squares, which are measured.
        board_mm: width and height of the board of squares; its lower left corner is the origin.
        paper_mm: the paper that hides the table: x least, y least, x most, y most. Its upper
            edge points to the table's middle.
    """

    number: int
    markers: dict[int, FloatArray]
    corners_mm: FloatArray
    board_mm: tuple[float, float]
    paper_mm: tuple[float, float, float, float]

    def __post_init__(self) -> None:
        object.__setattr__(self, "corners_mm", frozen(self.corners_mm))


@dataclass(frozen=True, eq=False, kw_only=True)
class Frame:
    """The printed sheets that lie round a table; where they lie, only pictures tell."""

    sheets: tuple[Sheet, ...]

    def sheet_of(self, marker: int) -> Sheet | None:
        """The sheet that carries the marker with this id, or None."""
        return next((sheet for sheet in self.sheets if marker in sheet.markers), None)


@dataclass(frozen=True, eq=False, kw_only=True)
class Plane:
    """A true-to-scale picture of the table's plane.

    Attributes:
        grey: (H, W) float32, light from 0 to 1.
        mm_per_px: side of a pixel.
        origin_mm: (2,) float64: the middle of pixel [0, 0].
        seen: (H, W) bool: inside some picture and not under a sheet of the frame.
        doubt_mm: (h, w) float32: standard deviation of a position, the greater of both axes, on
            a coarse grid; its node [i, j] lies at ``origin_mm + doubt_spacing_mm * (j, -i)``.
            The scale's doubt is not in it.
        doubt_spacing_mm: of that grid's nodes.
        scale_doubt: standard deviation of the scale as a fraction: a length L is unsure by
            ``scale_doubt * L`` beside what its ends are.
        inside_mm: (n, 2) float64: the corners of the area that the frame goes round,
            counter-clockwise; what lies outside it is not measured.
        sharp_mm: how far light spreads (standard deviation of the picture's own blur), in mm.
        noise: standard deviation of the light's noise, in the unit of *grey*.
    """

    grey: Grey
    mm_per_px: float
    origin_mm: FloatArray
    seen: Mask
    doubt_mm: Grey
    doubt_spacing_mm: float
    scale_doubt: float = 0.0
    inside_mm: FloatArray
    sharp_mm: float = 0.0
    noise: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "grey", read_only(self.grey, np.float32))
        object.__setattr__(self, "seen", read_only(self.seen, np.bool_))
        object.__setattr__(self, "doubt_mm", read_only(self.doubt_mm, np.float32))
        object.__setattr__(self, "origin_mm", frozen(self.origin_mm))
        object.__setattr__(self, "inside_mm", frozen(self.inside_mm))

    def to_mm(self, pixels: FloatArray) -> FloatArray:
        """(n, 2) float64 mm of pixels (n, 2) as (column, row)."""
        mm: FloatArray = self.origin_mm + self.mm_per_px * (pixels * np.array([1.0, -1.0]))
        return mm

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2) float64 pixels as (column, row) of points (n, 2) in mm."""
        px: FloatArray = (points_mm - self.origin_mm) / (self.mm_per_px * np.array([1.0, -1.0]))
        return px

    def light_at(self, points_mm: FloatArray) -> FloatArray:
        """(n, m) float64 light at points (n, m, 2) in mm, by cubics between pixels."""
        pixels = self.to_px(points_mm.reshape(-1, 2)).reshape(points_mm.shape)
        return cubic_light(self.grey, pixels)

    def sees(self, points_mm: FloatArray) -> Mask:
        """(n, m) bool: whether points (n, m, 2) in mm were seen."""
        column, line = np.rint(self.to_px(points_mm.reshape(-1, 2))).astype(np.int64).T
        height, width = self.seen.shape
        within = (column >= 0) & (column < width) & (line >= 0) & (line < height)
        found = np.zeros(len(column), dtype=np.bool_)
        found[within] = self.seen[line[within], column[within]]
        return found.reshape(points_mm.shape[:2])

    def doubt_at(self, points_mm: FloatArray) -> FloatArray:
        """(n,) float64 mm: the standard deviation of positions (n, 2) in mm, between the nodes."""
        steps = (points_mm - self.origin_mm) / (self.doubt_spacing_mm * np.array([1.0, -1.0]))
        rows, columns = self.doubt_mm.shape
        x = np.clip(steps[:, 0], 0.0, columns - 1.0)
        y = np.clip(steps[:, 1], 0.0, rows - 1.0)
        j = np.minimum(x.astype(np.int64), max(columns - 2, 0))
        i = np.minimum(y.astype(np.int64), max(rows - 2, 0))
        right, below = np.minimum(j + 1, columns - 1), np.minimum(i + 1, rows - 1)
        u, v = x - j, y - i
        grid = self.doubt_mm.astype(np.float64)
        upper = (1.0 - u) * grid[i, j] + u * grid[i, right]
        lower = (1.0 - u) * grid[below, j] + u * grid[below, right]
        doubt: FloatArray = (1.0 - v) * upper + v * lower
        return doubt


@dataclass(frozen=True, eq=False, kw_only=True)
class Unsure:
    """A stretch of a curve that a person should look at.

    Attributes:
        start_mm, end_mm: along the curve from its first point, in its sense; the end may be
            beyond the curve's length where the stretch runs over its first point.
        why: a short phrase, as “the line is hidden”.
    """

    start_mm: float
    end_mm: float
    why: str


@dataclass(frozen=True, eq=False, kw_only=True)
class Landmark:
    """A cross, dot or small square that was drawn beside or inside the line.

    Attributes:
        kind: what it is.
        at_mm: (2,) float64: its middle.
        doubt_mm: standard deviation of the middle, the plane's included, the scale's not.
        across_mm: its greater side along the plane's axes, about.
        maybe_hole: whether a small hole would look the same; a person is to be asked.
    """

    kind: LandmarkKind
    at_mm: FloatArray
    doubt_mm: float
    across_mm: float = 0.0
    maybe_hole: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen(self.at_mm))

    def asked_about(self) -> "Landmark":
        """The same, of which a person is to be asked whether it is a hole."""
        return replace(self, maybe_hole=True)


@dataclass(frozen=True, eq=False, kw_only=True)
class TracedCurve:
    """One closed line that was found.

    Attributes:
        kind: what it is.
        curve: smooth, of lines and arcs.
        interval_mm: (k,) float64: for each of the curve's points, how far to each side the true
            line may lie, with 95 of 100 odds.
        unsure: stretches that a person should look at.
    """

    kind: CurveKind
    curve: Curve
    interval_mm: FloatArray
    unsure: tuple[Unsure, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "interval_mm", frozen(self.interval_mm))


@dataclass(frozen=True, eq=False, kw_only=True)
class Traced:
    """What the plane's picture holds: lines and landmarks."""

    curves: tuple[TracedCurve, ...]
    landmarks: tuple[Landmark, ...] = ()
    notes: tuple[str, ...] = ()
