"""Left and right: whether two panels of a body share one pattern, mirrored."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from layflat.base import FloatArray, SettingError, frozen
from layflat.fit.pairs_edges import MatchedEdges, match_edges
from layflat.fit.pairs_mirror import (
    Mirroring,
    face_normals,
    find_mirroring,
    nearest_on_segments,
    outline_segments,
    vertex_areas,
)
from layflat.surface import Mesh, Region, locate

TOLERANCE_MM = 0.75
"""Half of the 1.5 mm that film usually stops short of an edge (common practice, no source): a piece
that is out by so much neither touches the gap nor leaves one that looks uneven."""

TOLERANCES_MM: Final = (0.01, 20.0)
"""The least and the greatest tolerance that may be asked for."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Difference:
    """How far two shapes lie apart, in mm.

    Attributes:
        greatest_mm, rms_mm: of all distances, both ways; the mean is by area or by length.
        where_mm: (3,) float64, the place of the greatest, on the right panel or next to it.
    """

    greatest_mm: float
    rms_mm: float
    where_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "where_mm", frozen(self.where_mm))


@dataclass(frozen=True, eq=False, kw_only=True)
class Pair:
    """Two panels compared, the left one mirrored onto the right one.

    Attributes:
        names: of the left and the right panel.
        mirroring: what takes the left one onto the right one.
        surface, outline: how far the surfaces and the outlines lie apart.
        beyond_mm2: the area of the right panel that differs by more than the tolerance.
        stands_out_mm: (n,) float64, for each vertex of the right mesh how far it stands out of
            the left one's image (negative: it lies inside); for a picture.
        tolerance_mm: the most that two panels with one pattern may differ.
        same_openings: whether both have as many openings.
        edges: which edge of the left one is which of the right one, or why they do not match.
    """

    names: tuple[str, str]
    mirroring: Mirroring
    surface: Difference
    outline: Difference
    beyond_mm2: float
    stands_out_mm: FloatArray
    tolerance_mm: float
    same_openings: bool
    edges: MatchedEdges

    def __post_init__(self) -> None:
        object.__setattr__(self, "stands_out_mm", frozen(self.stands_out_mm))

    @property
    def shared(self) -> bool:
        """Whether one pattern, mirrored, serves both."""
        return self._lie_alike and not self.edges.unlike

    @property
    def _lie_alike(self) -> bool:
        greatest = max(self.surface.greatest_mm, self.outline.greatest_mm)
        return self.same_openings and greatest <= self.tolerance_mm

    @property
    def sentence(self) -> str:
        """What came out, for a person."""
        left, right = self.names
        if self.shared:
            return (
                f"“{left}” and “{right}” share one pattern, mirrored: their surfaces differ by "
                f"{self.surface.greatest_mm:.2f} mm at most, their outlines by "
                f"{self.outline.greatest_mm:.2f} mm, and {self.tolerance_mm:g} mm are allowed."
            )
        start = f"“{left}” and “{right}” need a pattern each: "
        if not self.same_openings:
            return start + "one has more openings than the other."
        if self._lie_alike:
            return start + self.edges.unlike
        worse, what = self.surface, "surfaces"
        if self.outline.greatest_mm > worse.greatest_mm:
            worse, what = self.outline, "outlines"
        x, y, z = worse.where_mm
        size = (
            f", by more than {self.tolerance_mm:g} mm on {self.beyond_mm2 / 100:.0f} cm²"
            if what == "surfaces"
            else f", and {self.tolerance_mm:g} mm are allowed"
        )
        return (
            f"{start}their {what} differ by {worse.greatest_mm:.2f} mm near "
            f"({x:.0f}, {y:.0f}, {z:.0f}) mm on “{right}”{size}."
        )


def compare_pair(
    left: Region,
    right: Region,
    *,
    names: tuple[str, str] = ("left", "right"),
    tolerance_mm: float = TOLERANCE_MM,
) -> Pair:
    """How far *right* is from the mirror image of *left*.

    The mirror plane is found from the panels themselves, wherever the body stands; a panel that
    sits a little deeper or turned on one side is still the same panel.

    Args:
        left, right: the panels, cut out of one body.
        names: what they are called, in this order.
        tolerance_mm: the most that they may differ to share one pattern, 0.01 to 20.

    Raises:
        SettingError: the tolerance is out of its range.
        MeshError: a panel has no outline or no triangles.
    """
    least, most = TOLERANCES_MM
    if not least <= tolerance_mm <= most:
        raise SettingError(
            f"The tolerance for left and right is {tolerance_mm:g} mm; it must lie between "
            f"{least:g} and {most:g} mm."
        )
    mirroring = find_mirroring(left, right)
    image = mirroring.of_mesh(left.mesh)
    on_image, on_right = _apart(right.mesh, image), _apart(image, right.mesh)
    areas = [vertex_areas(right.mesh), vertex_areas(image)]
    surface = _difference(
        [on_image.distances, on_right.distances], areas, [right.mesh.vertices_mm, on_right.places]
    )
    return Pair(
        names=names,
        mirroring=mirroring,
        surface=surface,
        outline=_outlines(mirroring, left, right),
        beyond_mm2=float(areas[0][on_image.distances > tolerance_mm].sum()),
        stands_out_mm=on_image.signed,
        tolerance_mm=tolerance_mm,
        same_openings=len(left.loops) == len(right.loops),
        edges=match_edges(left, right, mirroring, names=names, tolerance_mm=tolerance_mm),
    )


@dataclass(frozen=True, eq=False)
class _Apart:
    distances: FloatArray
    signed: FloatArray
    places: FloatArray


def _apart(mesh: Mesh, other: Mesh) -> _Apart:
    """How far each vertex of *mesh* lies from *other*, and on which side of it."""
    found = locate(other, mesh.vertices_mm)
    gap = mesh.vertices_mm - found.points_mm
    side = np.einsum("ij,ij->i", gap, face_normals(other)[found.faces])
    signed = np.where(side < 0.0, -1.0, 1.0) * found.distances_mm
    return _Apart(found.distances_mm, signed, found.points_mm)


def _outlines(mirroring: Mirroring, left: Region, right: Region) -> Difference:
    theirs = outline_segments(right)
    ours = mirroring.of(outline_segments(left).reshape(-1, 3)).reshape(-1, 2, 3)
    distances, weights, places = [], [], []
    for one, other in ((theirs, ours), (ours, theirs)):
        points = one[:, 0]
        nearest, _ = nearest_on_segments(points, other)
        distances.append(np.linalg.norm(points - nearest, axis=1))
        weights.append(np.linalg.norm(one[:, 1] - one[:, 0], axis=1))
        places.append(points if one is theirs else nearest)
    return _difference(distances, weights, places)


def _difference(
    distances: list[FloatArray], weights: list[FloatArray], places: list[FloatArray]
) -> Difference:
    means = [
        float(weight @ off**2) / float(weight.sum())
        for off, weight in zip(distances, weights, strict=True)
    ]
    every = np.concatenate(distances)
    worst = int(every.argmax())
    return Difference(
        greatest_mm=float(every[worst]),
        rms_mm=float(np.sqrt(np.mean(means))),
        where_mm=np.concatenate(places)[worst],
    )
