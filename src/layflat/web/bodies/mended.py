"""The mended scan kept beside the body, so that no computation has to read and mend it again.

It is a NumPy archive with the arrays of the mesh to the last bit, and what reading and mending
said. Who has it gets what `read_mesh` and `mend` would give.
"""

import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from layflat.base import InputError, Progress, part_of
from layflat.job import reading_notes
from layflat.surface import Mended, Mesh, ReadMesh, mend, read_mesh
from layflat.web.bodies.contents import named
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep, path_of

_MOST_BYTES = 2_000_000_000


@dataclass(frozen=True, eq=False)
class MendedScan:
    """A scan, ready to be computed with.

    Attributes:
        mesh: mended, in millimetres.
        unit: of the scan.
        notes: what reading and mending had to say, in sentences.
    """

    mesh: Mesh
    unit: str
    notes: tuple[str, ...]


def keep_mended(read: ReadMesh, mended: Mended) -> str:
    """Keep a mended scan.

    Returns:
        the SHA-256 of the kept file.

    Raises:
        OutputError: it cannot be kept.
    """
    said = {"unit": read.unit, "notes": reading_notes(read, mended)}
    stream = io.BytesIO()
    np.savez(
        stream,
        vertices_mm=mended.mesh.vertices_mm,
        faces=mended.mesh.faces.astype(np.int32),
        said=np.frombuffer(json.dumps(said).encode(), np.uint8),
    )
    stored = keep(
        [stream.getvalue()],
        name="mended.npz",
        media_type="application/octet-stream",
        most_bytes=_MOST_BYTES,
        who=None,
    )
    return stored.sha256


def mended_scan(inputs: Mapping[str, Any], progress: Progress) -> MendedScan:
    """The mended scan of a revision: the kept one, or else read and mended anew.

    Args:
        inputs: `scan` and `unit` as for the task "bodies.prepare", and `mended`, the SHA-256 of
            what `keep_mended` kept of just that scan in that unit, or "".
        progress: told what is being done.

    Raises:
        InputError: the scan cannot be used; says why.
    """
    if inputs["mended"]:
        progress("reading the body", 0.0)
        try:
            return _kept(inputs["mended"])
        except FileNotFoundError:
            pass  # It can be made again.
    progress("reading the scan", 0.0)
    with named(StoredFile.objects.get(sha256=inputs["scan"])) as place:
        read = read_mesh(place, unit=inputs["unit"] or None)
    mended = mend(read.mesh, progress=part_of(progress, start=0.3, end=1.0))
    return MendedScan(mended.mesh, read.unit, reading_notes(read, mended))


def _kept(sha256: str) -> MendedScan:
    with path_of(sha256).open("rb") as file, np.load(file, allow_pickle=False) as held:
        said = json.loads(held["said"].tobytes())
        mesh = Mesh(held["vertices_mm"], held["faces"].astype(np.int64))
    if not isinstance(said, dict):
        raise InputError("The mended scan in the data folder is damaged; bring the scan again.")
    return MendedScan(mesh, said["unit"], tuple(said["notes"]))
