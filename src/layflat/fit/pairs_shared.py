"""What the panel of one side makes the other: its surface, its flat shape, its pattern, its wraps.

Film is mirrored in space by the pair's mirroring and in the flat by y to -y, so that triangles and
loops keep their sense in both, seen from outside. The flat's x stays: film with a direction runs
the same way on both sides, as it does when each is laid flat by itself.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from layflat.film import Flat, Strain
from layflat.fit.pairs_edges import EdgePlace
from layflat.fit.pairs_mirror import Mirroring
from layflat.pattern import Depths, Fold, Pattern, place
from layflat.surface import Edge, Loop, Region

_TURNED = np.array([1.0, -1.0])
_HALF_DEG = 180.0
"""Patterns are mirrored by x to -x; this turn makes it y to -y."""


def shared_pattern(pattern: Pattern, *, name: str) -> Pattern:
    """The pattern of the other side: mirrored, its outline still counter-clockwise from outside.

    Args:
        pattern: of one panel.
        name: of the other one's piece.
    """
    return replace(place(pattern, mirrored=True, turn_deg=_HALF_DEG), name=name)


def shared_flat(flat: Flat, mirroring: Mirroring) -> Flat:
    """The laid film of the other side: *flat* mirrored in space and in the flat (y to -y)."""
    strain = Strain(flat.strain.greatest, flat.strain.least, flat.strain.direction * _TURNED)
    return replace(
        flat, mesh=mirroring.of_mesh(flat.mesh), points_mm=flat.points_mm * _TURNED, strain=strain
    )


def shared_region(region: Region, mirroring: Mirroring) -> Region:
    """The surface of the other side: *region* mirrored, its loops with the material on the left.

    Vertices keep their numbers; the edges of each loop come in the other order.
    """
    return Region(
        mirroring.of_mesh(region.mesh), tuple(_image(loop, mirroring) for loop in region.loops)
    )


def _image(loop: Loop, mirroring: Mirroring) -> Loop:
    """A loop gone round the other way, from the vertex that it began at."""
    edges = loop.edges
    after = (*edges[1:], edges[0])
    turned = [
        # An edge ends at the corner that the next one starts at.
        replace(edge, points_mm=mirroring.of(np.vstack((end.points_mm[:1], edge.points_mm[:0:-1]))))
        for edge, end in zip(edges, after, strict=True)
    ]
    return Loop(
        vertices=np.roll(loop.vertices[::-1], 1),
        edge_of=len(edges) - 1 - loop.edge_of[::-1],
        edges=tuple(turned[::-1]),
    )


def with_edges_of(region: Region, other: Region, matched: Mapping[EdgePlace, EdgePlace]) -> Region:
    """*region* with its edges named and of the kinds as those of *other* that they lie on."""

    def named(number: int, loop: Loop) -> Loop:
        edges = list(loop.edges)
        for i, edge in enumerate(edges):
            if (number, i) in matched:
                k, m = matched[number, i]
                theirs = other.loops[k].edges[m]
                edges[i] = replace(edge, kind=theirs.kind, name=theirs.name)
        return replace(loop, edges=tuple(edges))

    return replace(
        region, loops=tuple(named(number, loop) for number, loop in enumerate(region.loops))
    )


def shared_wraps(
    wraps: Sequence[tuple[Edge, Depths]], region: Region, image: Region
) -> tuple[tuple[Edge, Depths], ...]:
    """The wraps of the other side.

    Args:
        wraps: of *region*'s piece, by its edges.
        region: of one panel.
        image: its `shared_region`.
    """
    other = {
        id(edge): turned
        for loop, back in zip(region.loops, image.loops, strict=True)
        for edge, turned in zip(loop.edges, back.edges[::-1], strict=True)
    }
    return tuple((other[id(edge)], _turned(depths)) for edge, depths in wraps)


def _turned(depths: Depths) -> Depths:
    """A flap along an edge that is gone along the other way."""
    last = len(depths.points) - 1
    whole = float(np.linalg.norm(np.diff(depths.points, axis=0), axis=1).sum())
    fold = depths.fold
    return replace(
        depths,
        points=depths.points[::-1] * _TURNED,
        outward=depths.outward[::-1] * _TURNED,
        mm=depths.mm[::-1].copy(),
        reasons=depths.reasons[::-1],
        fold=Fold(
            turn_per_mm=fold.turn_per_mm[::-1],
            bow_per_mm=fold.bow_per_mm[::-1],
            angle_rad=fold.angle_rad[::-1],
            metal_mm=fold.metal_mm[::-1],
            note=fold.note,
        ),
        notches=tuple(
            replace(notch, station=last - notch.station, along_mm=whole - notch.along_mm)
            for notch in depths.notches[::-1]
        ),
    )
