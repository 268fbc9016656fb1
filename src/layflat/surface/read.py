"""Meshes in from files: PLY, OBJ, STL and GLB, read strictly and within bounds.

What a scanner writes is not trusted. A file must hold what it says it holds, no more and no
less; vertices stay as they are (nothing is merged or reordered behind our back), faces of more
than three corners are split and said, and nothing that could crash a compiled library leaves
this module: indices in range, numbers finite. PLY, OBJ and STL are few lines to read, and the
libraries that read them take what they find and split faces unsaid; glTF is left to trimesh.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from layflat.base import FloatArray, IntArray, MeshError, SettingError, read_bytes
from layflat.surface.mesh import Mesh
from layflat.surface.polygons import triangles
from layflat.surface.read_glb import read_glb
from layflat.surface.read_obj import read_obj
from layflat.surface.read_ply import read_ply
from layflat.surface.read_stl import read_binary_stl, read_text_stl
from layflat.surface.sniff import MAX_BYTES, Kind, sniff

UNITS_MM: Mapping[str, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
"""Units that a file may be in, and how many millimetres one is."""

LEAST_MM = 20.0
MOST_MM = 25_000.0
"""The diagonals that a vehicle panel or body can have."""


@dataclass(frozen=True, eq=False)
class ReadMesh:
    """A mesh as it stood in a file, in millimetres.

    Attributes:
        mesh: nothing mended yet.
        unit: the unit that the file was taken to be in.
        unit_given: whether the file's standard or a person gave it; else millimetres were taken.
        sha256: of the file.
        notes: sentences on what was noticed and assumed.
    """

    mesh: Mesh
    unit: str
    unit_given: bool
    sha256: str
    notes: tuple[str, ...]

    @property
    def unit_source(self) -> str:
        """A sentence on where the unit comes from."""
        if self.unit_given:
            return f"The file is in {self.unit}, as its standard or a person says."
        return f"The file does not say its unit; {self.unit} was taken."


def read_mesh(path: Path, *, unit: str | None = None) -> ReadMesh:
    """Read the mesh file at *path*.

    Args:
        path: PLY, OBJ, STL or GLB; the contents count, not the name.
        unit: the file's unit: mm, cm, m or in. glTF fixes metres. Without it millimetres are
            taken, and a note says so; a unit is never chosen because the size would fit.

    Raises:
        MeshError: the file is damaged, holds no triangles or too many, has numbers that are not
            finite or faces without vertices, or a size that no vehicle panel has.
        SettingError: *unit* is unknown, or differs from what the file's standard fixes.
        InputError: the file cannot be read.
    """
    if unit is not None and unit not in UNITS_MM:
        raise SettingError(f"The unit “{unit}” is unknown; known are {', '.join(UNITS_MM)}.")
    data = read_bytes(path, max_bytes=MAX_BYTES)
    kind = sniff(data, where=path.name)
    notes: list[str] = []
    suffix = kind.removesuffix(" text")
    if path.suffix.lower().lstrip(".") != suffix:
        notes.append(f"{path.name} is a {suffix.upper()} file by its contents.")
    if kind == "glb" and unit not in (None, "m"):
        raise SettingError(
            f"{path.name} is a GLB file, whose standard fixes metres; it cannot be in {unit}."
        )
    vertices, faces, said = _parsed(data, kind, path.name)
    notes += said
    used = "m" if kind == "glb" else unit or "mm"
    if unit is None and kind != "glb":
        notes.append(f"{path.name} does not say its unit and nobody gave one: taken as mm.")
    vertices = vertices * UNITS_MM[used]
    _require_plausible(vertices[faces.reshape(-1)], used, path.name)
    return ReadMesh(
        mesh=Mesh(vertices, faces),
        unit=used,
        unit_given=unit is not None or kind == "glb",
        sha256=hashlib.sha256(data).hexdigest(),
        notes=tuple(notes),
    )


def _parsed(data: bytes, kind: Kind, where: str) -> tuple[FloatArray, IntArray, tuple[str, ...]]:
    """All triangles of the file, in its own unit, and what there is to say on them."""
    if kind == "glb":
        return read_glb(data, where=where)
    said: tuple[str, ...] = ()
    if kind == "ply":
        polygons, said = read_ply(data, where=where)
    elif kind == "obj":
        polygons, said = read_obj(data, where=where)
    elif kind == "stl text":
        polygons, said = read_text_stl(data, where=where)
    else:
        polygons = read_binary_stl(data, where=where)
    faces, split = triangles(polygons, where=where)
    return polygons.vertices, faces, said + split


def _require_plausible(points: FloatArray, unit: str, where: str) -> None:
    """Refuse a size that no vehicle panel has, with the units that would make sense."""
    diagonal = float(np.linalg.norm(points.max(axis=0) - points.min(axis=0)))
    if LEAST_MM <= diagonal <= MOST_MM:
        return
    raw = diagonal / UNITS_MM[unit]
    fitting = [
        name for name, factor in UNITS_MM.items() if 4 * LEAST_MM <= raw * factor <= MOST_MM / 2
    ]
    advice = (
        f"it would be plausible in {' or in '.join(fitting)}: give that as the unit"
        if fitting
        else "no unit makes sense of it"
    )
    raise MeshError(
        f"{where} is {diagonal:.3g} mm across when taken in {unit}, which no vehicle panel is; "
        f"{advice}."
    )
