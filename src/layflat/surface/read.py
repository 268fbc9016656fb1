"""Meshes in from files: PLY, OBJ, STL and GLB, parsed by trimesh within bounds.

What a scanner writes is not trusted: the counts are checked first (`sniff`), the reader keeps
vertices as they are (nothing is merged or reordered behind our back), and nothing that could
crash a compiled library leaves this module: indices in range, numbers finite.
"""

import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import trimesh

from layflat.base import FloatArray, IntArray, MeshError, SettingError, read_bytes
from layflat.surface.mesh import Mesh
from layflat.surface.sniff import MAX_BYTES, sniff

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
    found = sniff(data, where=path.name)
    notes: list[str] = []
    if path.suffix.lower().lstrip(".") != found.kind:
        notes.append(f"{path.name} is a {found.kind.upper()} file by its contents.")
    vertices, faces = _parsed(data, found.kind, path.name, notes)
    _require_sound(vertices, faces, path.name)
    if found.kind == "glb":
        if unit not in (None, "m"):
            raise SettingError(
                f"{path.name} is a GLB file, whose standard fixes metres; it cannot be in {unit}."
            )
        used = "m"
    else:
        used = unit or "mm"
    if unit is None and found.kind != "glb":
        notes.append(f"{path.name} does not say its unit and nobody gave one: taken as mm.")
    vertices = vertices * UNITS_MM[used]
    _require_plausible(vertices[faces.reshape(-1)], used, path.name)
    return ReadMesh(
        mesh=Mesh(vertices, faces),
        unit=used,
        unit_given=unit is not None or found.kind == "glb",
        sha256=hashlib.sha256(data).hexdigest(),
        notes=tuple(notes),
    )


def _parsed(data: bytes, kind: str, where: str, notes: list[str]) -> tuple[FloatArray, IntArray]:
    """All triangles of the file, in its own unit."""
    try:
        scene = trimesh.load_scene(
            io.BytesIO(data),
            file_type=kind,
            process=False,
            maintain_order=True,
            skip_materials=True,
        )
        parts = [part for part in scene.dump() if isinstance(part, trimesh.Trimesh)]
    except Exception as error:
        raise MeshError(f"{where} cannot be read as {kind.upper()}: it is damaged.") from error
    if not parts or not sum(len(part.faces) for part in parts):
        raise MeshError(f"{where} has no triangles.")
    if len(parts) > 1:
        notes.append(f"{where} holds {len(parts)} objects; they were taken together.")
    offsets = np.cumsum([0] + [len(part.vertices) for part in parts[:-1]])
    vertices = np.concatenate([np.asarray(part.vertices, np.float64) for part in parts])
    faces = np.concatenate(
        [np.asarray(part.faces, np.int64) + off for part, off in zip(parts, offsets, strict=True)]
    )
    return vertices, faces


def _require_sound(vertices: FloatArray, faces: IntArray, where: str) -> None:
    if int(faces.min()) < 0 or int(faces.max()) >= len(vertices):
        raise MeshError(f"{where} has a face that names a vertex that is not there; it is damaged.")
    bad = int((~np.isfinite(vertices)).any(axis=1).sum())
    if bad:
        raise MeshError(f"{where} has {bad} vertices whose coordinates are not finite numbers.")


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
