"""Surfaces as a GLB file for the browser.

Vertices stay in body coordinates, millimetres, so that a place tapped in the browser is a place
on the body. The node above them carries the change to glTF's own frame: metres, y up, z to the
front, x to the left (Khronos Group, *glTF 2.0 Specification*, 3.4). Any reader of glTF thus shows
the body upright and at its size, and ours reads the vertices as they are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layflat.base import FloatArray
from layflat.papers import vertex_normals
from layflat.surface import Mesh

_METRES_PER_MM = 0.001


@dataclass(frozen=True, eq=False, kw_only=True)
class Shape:
    """One surface of a GLB file.

    Attributes:
        mesh: in body coordinates, mm.
        colours: (n, 3) uint8 sRGB, one for each vertex, or None.
    """

    mesh: Mesh
    colours: NDArray[np.uint8] | None = None


def glb_bytes(
    shapes: Mapping[str, Shape], *, forward: Sequence[float], up: Sequence[float]
) -> bytes:
    """A GLB file of *shapes*, each under its name, with smooth normals.

    Args:
        shapes: the surfaces; a name is that of the node and of its mesh.
        forward, up: unit vectors in body coordinates; see `layflat.surface.BodyInfo`.
    """
    import trimesh  # read only here, since it is large
    from trimesh.exchange.gltf import export_glb

    scene = trimesh.Scene(base_frame="vehicle")
    for name, shape in shapes.items():
        scene.add_geometry(
            _geometry(shape),
            node_name=name,
            geom_name=name,
            transform=gltf_frame(forward=forward, up=up),
        )
    data: bytes = export_glb(scene, include_normals=True)  # type: ignore[no-untyped-call]
    return data


def gltf_frame(*, forward: Sequence[float], up: Sequence[float]) -> FloatArray:
    """The (4, 4) matrix from body millimetres to glTF's frame."""
    ahead, above = np.asarray(forward, np.float64), np.asarray(up, np.float64)
    matrix = np.eye(4)
    matrix[:3, :3] = _METRES_PER_MM * np.stack([np.cross(above, ahead), above, ahead])
    return matrix


def _geometry(shape: Shape) -> Any:
    import trimesh

    extra: dict[str, Any] = (
        {} if shape.colours is None else {"vertex_colors": linear_bytes(shape.colours)}
    )
    return trimesh.Trimesh(
        shape.mesh.vertices_mm,
        shape.mesh.faces,
        vertex_normals=vertex_normals(shape.mesh),
        process=False,
        **extra,
    )


def linear_bytes(colours: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Bytes of sRGB as bytes of linear light, which is what glTF's COLOR_0 holds.

    The curve is that of IEC 61966-2-1.
    """
    value = colours / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return np.round(255.0 * linear).astype(np.uint8)
