"""The main job, as a recipe: from a body and a cover to pieces, layout, cut program, papers."""

import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from layflat.base import Progress, Report, part_of, report_json, silent, write_folder
from layflat.cut import CutProgram, cut_report, generic_machine, program, read_machine
from layflat.film import flat_obj, flatten_report
from layflat.job.order import Order
from layflat.job.pieces import Piece, make_pieces
from layflat.job.sheets import make_papers, minutes_of, price_of
from layflat.job.single import film_of, reading_notes
from layflat.nest import Layout, Request, layout_drawing, layout_report, place
from layflat.pattern import Drawing, dxf_text, svg_text
from layflat.plan import Price
from layflat.surface import mend, read_mesh, read_panels


@dataclass(frozen=True, eq=False)
class JobResult:
    """A whole job, computed and checked, still to be written.

    Attributes:
        order: as it was read.
        pieces: in the order of the covers.
        layout: on the roll.
        program: for the plotter.
        price: what it costs.
        papers: PDFs by file name.
        report: what was computed from what.
    """

    order: Order
    pieces: tuple[Piece, ...]
    layout: Layout
    program: CutProgram
    price: Price
    papers: Mapping[str, bytes]
    report: Report

    def lines(self, folder: Path) -> Iterator[str]:
        """The job for a person, a line each."""
        layout, cut = self.layout, self.program
        yield f"{folder}: {self.order.number} {self.order.name}, {self.order.vehicle}"
        for piece in self.pieces:
            summary = piece.summary
            yield (
                f"  {piece.name}: {piece.flat.mesh.area_mm2 / 1e6:.2f} m², stretched by up to "
                f"{100 * (summary.greatest_p99 - 1):.1f} %, compressed by up to "
                f"{100 * (1 - summary.least_p01):.1f} % (99 % of the area)"
            )
        yield (
            f"  layout: {layout.length_mm / 1000:.2f} m of {layout.stock.width_mm:g} mm roll in "
            f"{len(layout.sections)} section(s), {100 * layout.yield_:.0f} % used; "
            f"no layout is shorter than {layout.lower_bound_mm / 1000:.2f} m"
        )
        yield (
            f"  cut: {cut.cut_length_mm / 1000:.1f} m in about {cut.seconds / 60:.0f} min; the "
            f"blade's tip within {cut.tip_error.max_away_mm:.3f} mm, "
            f"{cut.tip_error.max_corner_mm:.3f} mm at corners"
        )
        yield f"  price: {self.price.rates.currency} {self.price.gross} with tax"
        yield f"  papers: {', '.join(self.papers)}"


def run_job(order: Order, *, progress: Progress = silent) -> JobResult:
    """Compute all that *order* needs.

    Raises:
        InputError: something the order names cannot be used, or a piece does not fit; says why.
        CheckError: a result failed its own check.
    """
    began = time.perf_counter()
    defaults = dict(order.defaults)
    inputs = Report.hashes(order.path, order.panels)

    progress("reading the body", 0.0)
    film = film_of(order.film, defaults, inputs)
    machine = generic_machine() if order.machine is None else read_machine(order.machine)
    if order.machine is None:
        defaults["machine"] = machine.name
    else:
        inputs |= Report.hashes(order.machine)
        defaults |= {f"machine.{key}": value for key, value in machine.defaults.items()}
    read = read_mesh(order.body, unit=order.unit or None)
    inputs[order.body.name] = read.sha256
    mended = mend(read.mesh, progress=part_of(progress, start=0.05, end=0.12))
    info = read_panels(order.panels)

    pieces = make_pieces(
        order, mended.mesh, info, film, progress=part_of(progress, start=0.12, end=0.45)
    )
    layout = lay_out(order, pieces, progress=part_of(progress, start=0.45, end=0.75))
    drawing = layout_drawing(layout)
    cut = program(drawing, machine, progress=part_of(progress, start=0.75, end=0.85))
    minutes = minutes_of(order, pieces, cut)
    cost = price_of(order, layout, minutes)
    papers = make_papers(
        order, mended.mesh, pieces, layout, cost, progress=part_of(progress, start=0.85, end=1.0)
    )
    results = {
        "job": order.number,
        "unit": read.unit,
        "film": film.name,
        "machine": machine.name,
        "pieces": {piece.name: _piece_results(piece) for piece in pieces},
        "layout": layout_report(layout),
        "cut": cut_report(cut),
        "minutes": {
            item.step.value: {"minutes": item.minutes, "source": item.source}
            for item in minutes.steps
        },
        "price": {
            "currency": cost.rates.currency,
            "net": str(cost.net),
            "tax": str(cost.tax),
            "gross": str(cost.gross),
        },
        "seconds": round(time.perf_counter() - began, 3),
    }
    report = Report(
        kind="job",
        inputs=inputs,
        results=results,
        seed=order.layout.seed,
        defaults=defaults,
        warnings=(
            *reading_notes(read, mended),
            *(f"{piece.name}: {note}" for piece in pieces for note in piece.notes),
            *layout.notes,
        ),
    )
    return JobResult(order, pieces, layout, cut, cost, papers, report)


def _piece_results(piece: Piece) -> dict[str, Any]:
    return {
        **flatten_report(piece.flat),
        "edges": [
            {
                "name": record.name,
                "kind": record.kind.value,
                "finish": record.finish.finish.value,
                "distance_mm": record.finish.distance_mm,
                "surface_length_mm": record.surface_length_mm,
                "flat_length_mm": record.flat_length_mm,
            }
            for record in piece.pattern.edges
        ],
        "left_free": [item.name for item in piece.keep_outs],
    }


def lay_out(order: Order, pieces: tuple[Piece, ...], *, progress: Progress = silent) -> Layout:
    """The pieces on the order's roll; film with a direction keeps it."""
    wanted = order.layout
    one_way = pieces[0].flat.film.one_direction
    turns = (0.0,) if one_way else wanted.turns_deg
    layout = place(
        [Request(pattern=piece.pattern, turns_deg=turns) for piece in pieces],
        wanted.stock,
        gap_mm=wanted.gap_mm,
        seconds=wanted.seconds,
        seed=wanted.seed,
        max_section_mm=wanted.max_section_mm,
        progress=progress,
    )
    if one_way and wanted.turns_deg != (0.0,):
        note = "The film has a direction: no piece was turned, whatever the order allows."
        layout = replace(layout, notes=(*layout.notes, note))
    return layout


def write_job(result: JobResult, folder: Path) -> None:
    """Write all of a job into *folder*, whole or not at all.

    Raises:
        OutputError: the folder holds something else, or cannot be written.
    """
    drawing = layout_drawing(result.layout)
    with write_folder(folder) as inside:
        for name, data in result.papers.items():
            (inside / name).write_bytes(data)
        for piece in result.pieces:
            own = Drawing(patterns=(piece.pattern,))
            (inside / f"piece-{piece.name}.dxf").write_text(dxf_text(own), encoding="utf-8")
            (inside / f"piece-{piece.name}.obj").write_text(flat_obj(piece.flat), encoding="utf-8")
        (inside / "layout.dxf").write_text(dxf_text(drawing), encoding="utf-8")
        (inside / "layout.svg").write_text(svg_text(drawing), encoding="utf-8")
        (inside / "cut.plt").write_text(result.program.hpgl, encoding="ascii")
        for section in result.program.sections:
            name = f"cut-section-{section.number}.plt"
            (inside / name).write_text(section.hpgl, encoding="ascii")
        (inside / "report.json").write_text(report_json(result.report), encoding="utf-8")
