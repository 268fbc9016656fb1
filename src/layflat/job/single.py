"""The work of the single commands: one panel flattened, one mesh checked.

Each is the part of the main job that its name says, on files of its own.
"""

import time
from pathlib import Path
from typing import Any

from layflat.base import MeshError, Progress, Report, counted, part_of, silent
from layflat.film import (
    Film,
    film_notes,
    flat_obj,
    flatten,
    flatten_report,
    flatten_warnings,
    generic_film,
    overlaps,
    read_film,
)
from layflat.job.done import Done
from layflat.pattern import Drawing, EdgeFinish, Finish, dxf_text, from_flat, svg_text
from layflat.surface import (
    Mended,
    Mesh,
    MeshReport,
    ReadMesh,
    check_mesh,
    mend,
    read_mesh,
    require_sheet,
    whole_region,
)

_FILL_MM = 40.0
"""Rims up to this are holes of the scan; a panel's own openings are larger."""


def film_of(path: Path | None, defaults: dict[str, Any], inputs: dict[str, str]) -> Film:
    """The film in the file at *path*, or the generic one, which is then said in *defaults*."""
    if path is None:
        film = generic_film()
        defaults["film"] = film.name
        return film
    inputs.update(Report.hashes(path))
    return read_film(path)


def reading_notes(read: ReadMesh, mended: Mended) -> tuple[str, ...]:
    """What reading and mending have to say."""
    return (*read.notes, *(f"Mended: {item.sentence}" for item in mended.mends))


def flatten_file(
    path: Path,
    *,
    unit: str | None = None,
    film_path: Path | None = None,
    finger_aversion: float = 1.0,
    progress: Progress = silent,
) -> Done:
    """Flatten the panel in the mesh file at *path*.

    Args:
        path: a mesh that is one panel.
        unit: the file's unit where it does not say; see `layflat.surface.read_mesh`.
        film_path: a film file, or None for the generic film.
        finger_aversion: see `layflat.film.flatten`.
        progress: told what is being done.

    Returns:
        The flat shape as .obj, .dxf and .svg with its report.

    Raises:
        InputError: a file cannot be used, or the panel cannot be laid flat; says why.
        CheckError: the result failed its own check.
    """
    began = time.perf_counter()
    defaults: dict[str, Any] = {}
    inputs: dict[str, str] = {}
    film = film_of(film_path, defaults, inputs)
    progress("reading", 0.0)
    read = read_mesh(path, unit=unit)
    inputs[path.name] = read.sha256
    if not read.unit_given:
        defaults["unit"] = read.unit
    mended = mend(read.mesh, fill_mm=_FILL_MM, progress=part_of(progress, start=0.1, end=0.3))
    _require_surface(mended.mesh, path.name)
    region = whole_region(mended.mesh, name=f"The surface in {path.name}")
    flat = flatten(
        region.mesh,
        film,
        finger_aversion=finger_aversion,
        progress=part_of(progress, start=0.3, end=0.95),
    )
    warnings = [*reading_notes(read, mended), *film_notes(film), *flatten_warnings(flat)]
    texts = {".obj": flat_obj(flat)}
    if not overlaps(flat):
        made = from_flat(flat, region, name=path.stem, finishes=lambda _: EdgeFinish(Finish.FLUSH))
        warnings += made.notes
        drawing = Drawing(patterns=(made.pattern,))
        texts |= {".dxf": dxf_text(drawing), ".svg": svg_text(drawing)}
    results = flatten_report(flat)
    results["film"] = film.name
    results["unit"] = read.unit
    results["seconds"] = round(time.perf_counter() - began, 3)
    return Done(
        texts=texts,
        report=Report(
            kind="flatten",
            inputs=inputs,
            results=results,
            defaults=defaults,
            warnings=tuple(warnings),
        ),
        sentence=(
            f"{results['triangles']:,} triangles flat, {results['pattern_area_mm2'] / 1e6:.3f} m² "
            f"of film; stretched by {percent(results['greatest_stretch'])} at most, "
            f"compressed by {percent(results['least_stretch'])} at most."
        ),
    )


def percent(stretch: float) -> str:
    """How far a stretch is from 1, in per cent."""
    return f"{100 * abs(stretch - 1):.2f} %"


def check_file(path: Path, *, unit: str | None = None, progress: Progress = silent) -> Done:
    """Say what the mesh file at *path* is like, before and after mending.

    Raises:
        InputError: it cannot be read or mended; says why.
    """
    read = read_mesh(path, unit=unit)
    before = check_mesh(read.mesh)
    mended = mend(read.mesh, progress=progress)
    _require_surface(mended.mesh, path.name)
    after = check_mesh(mended.mesh)
    try:
        require_sheet(mended.mesh.faces, what="As a whole it")
        sheet = "It is one sheet and can be flattened as it is."
    except MeshError as error:
        sheet = f"{error} (A whole body is like that: cut panels out of it.)"
    lines = (
        _line(path.name, before),
        *(f"mended: {item.sentence}" for item in mended.mends),
        _line("mended", after),
        sheet,
    )
    return Done(
        texts={},
        report=Report(
            kind="check",
            inputs={path.name: read.sha256},
            results={
                "unit": read.unit,
                "before": vars(before),
                "mends": [vars(item) for item in mended.mends],
                "after": vars(after),
                "sheet": sheet,
            },
            defaults={} if read.unit_given else {"unit": read.unit},
            warnings=read.notes,
        ),
        sentence=lines[-1],
        lines=lines,
    )


def _require_surface(mesh: Mesh, name: str) -> None:
    if len(mesh.faces) == 1:
        raise MeshError(f"{name} has one triangle only, which is no scan of a panel.")


def _line(name: str, report: MeshReport) -> str:
    size = " × ".join(f"{side:.0f}" for side in report.size_mm)
    rims = counted(len(report.rims_mm), "edge or hole", "edges or holes")
    holes = f", {rims}" if report.rims_mm else ""
    fault = f"; {report.fault}" if report.fault else ""
    return (
        f"{name}: {report.triangles:,} triangles, {counted(report.shells, 'shell')}, {size} mm, "
        f"{report.area_mm2 / 1e6:.3f} m², sides about {report.median_side_mm:.1f} mm{holes}{fault}"
    )
