"""The invented workshop on disk: two scans, their panels, a film, a machine and two jobs."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import trimesh
from trimesh.exchange.ply import export_ply

from layflat.base import FloatArray, Progress, silent, write_bytes, write_text
from layflat.demo.body import Design
from layflat.demo.coupe_panels import coupe_design
from layflat.demo.drawing import LEFT
from layflat.demo.files import FILM, MACHINE, coupe_job, van_job
from layflat.demo.scan import ScanLike, scan_like
from layflat.demo.van import van_field
from layflat.demo.van_panels import van_design
from layflat.surface import panels_json

_COUPE_SPACING_MM = 11.6
_VAN_SPACING_MM = 16.4
_DOOR_LINE_MM = 790.0


@dataclass(frozen=True)
class Workshop:
    """What was written.

    Attributes:
        folder: where.
        jobs: the job files.
        scans: the scans' files, in the order of the jobs.
        panels: the panels' files, in the order of the jobs.
    """

    folder: Path
    jobs: tuple[Path, ...]
    scans: tuple[Path, ...]
    panels: tuple[Path, ...]


def write_workshop(folder: Path, *, progress: Progress = silent) -> Workshop:
    """Write the invented workshop into *folder*, which must exist.

    The van's scan is in metres, the coupe's in millimetres.

    Raises:
        OutputError: the folder is missing or read-only, or the disk is full.
        StoppedError: raised by *progress*.
    """
    write_text(folder / "film.toml", FILM)
    write_text(folder / "machine.toml", MACHINE)
    progress("drawing the van", 0.0)
    van = van_design()
    progress("scanning the van", 0.05)
    scan = scan_like(van, seed=11, spacing_mm=_VAN_SPACING_MM)
    write_bytes(folder / "van-scan.ply", ply_bytes(scan, per_mm=0.001))
    write_text(folder / "van-panels.json", panels_json(van.info))
    line, keep = sliding_door_line()
    write_text(folder / "van-job.toml", van_job(line, keep))
    progress("drawing the coupe", 0.5)
    coupe = coupe_design()
    progress("scanning the coupe", 0.55)
    scan = scan_like(coupe, seed=12, spacing_mm=_COUPE_SPACING_MM)
    write_bytes(folder / "coupe-scan.ply", ply_bytes(scan, per_mm=1.0))
    write_text(folder / "coupe-panels.json", panels_json(coupe.info))
    write_text(folder / "coupe-job.toml", coupe_job())
    progress("workshop written", 1.0)
    names = ("van", "coupe")
    return Workshop(
        folder=folder,
        jobs=tuple(folder / f"{name}-job.toml" for name in names),
        scans=tuple(folder / f"{name}-scan.ply" for name in names),
        panels=tuple(folder / f"{name}-panels.json" for name in names),
    )


def designs() -> tuple[Design, ...]:
    """Both bodies, the van first."""
    return van_design(), coupe_design()


def sliding_door_line() -> tuple[FloatArray, FloatArray]:
    """The line on the van's right door that film ends at, and a point on the covered side."""
    along = np.linspace(560.0, -640.0, 25)
    drawn = np.stack([along, np.full_like(along, _DOOR_LINE_MM)], axis=1)
    right = np.array([1.0, -1.0, 1.0])
    keep = LEFT.lay(van_field, np.array([[0.0, 520.0]]))[0]
    return LEFT.lay(van_field, drawn) * right, keep * right


def ply_bytes(scan: ScanLike, *, per_mm: float) -> bytes:
    """The scan as binary PLY in a unit of which *per_mm* make a millimetre."""
    mesh = trimesh.Trimesh(scan.mesh.vertices_mm * per_mm, scan.mesh.faces, process=False)
    data: bytes = export_ply(mesh, vertex_normal=False)
    return data
