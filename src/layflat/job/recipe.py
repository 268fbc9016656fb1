"""The main job, as a recipe: from a body and a cover to pieces, layout, cut program, papers."""

import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from layflat.base import (
    FitError,
    Progress,
    Report,
    counted,
    part_of,
    report_json,
    silent,
    write_folder,
)
from layflat.cut import CutProgram, Machine, generic_machine, read_machine, told_text, told_whole
from layflat.film import film_notes, flat_obj, limits_basis
from layflat.job.compute import Computed, compute, computed_notes, computed_results
from layflat.job.order import Order
from layflat.job.pieces import Piece
from layflat.job.sheets import make_papers, price_of
from layflat.job.single import film_of, reading_notes
from layflat.nest import Layout
from layflat.pattern import Drawing, dxf_text, svg_text
from layflat.plan import Price
from layflat.surface import mend, read_mesh, read_panels


@dataclass(frozen=True, eq=False)
class JobResult:
    """A whole job, computed and checked, still to be written.

    Attributes:
        order: as it was read.
        computed: its pieces, layout and cut program.
        price: what it costs.
        machine: that the program is for.
        papers: PDFs by file name.
        report: what was computed from what.
        whole: the program of all sections in one go, as the machine is told it; None where it
            cannot be cut so, and each section is sent by itself.
    """

    order: Order
    computed: Computed
    price: Price
    machine: Machine
    papers: Mapping[str, bytes]
    report: Report
    whole: str | None

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """In the order of the covers."""
        return self.computed.pieces

    @property
    def layout(self) -> Layout:
        """On the roll."""
        return self.computed.layout

    @property
    def program(self) -> CutProgram:
        """For the plotter."""
        return self.computed.program

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
            f"{counted(len(layout.sections), 'section')}, {100 * layout.yield_:.0f} % used; "
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

    computed = compute(
        order,
        mended.mesh,
        info,
        film=film,
        machine=machine,
        given=order.price.minutes,
        progress=part_of(progress, start=0.12, end=0.85),
    )
    pieces, layout = computed.pieces, computed.layout
    whole, apart = _whole(computed.program, machine)
    cost = price_of(order, layout, computed.minutes)
    papers = make_papers(
        order,
        mended.mesh,
        pieces,
        layout,
        cost,
        notes=computed.program.notes,
        progress=part_of(progress, start=0.85, end=1.0),
    )
    results = {
        "job": order.number,
        "unit": read.unit,
        "film": film.name,
        "limits_basis": limits_basis(film),
        "machine": machine.name,
        **computed_results(computed),
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
            *film_notes(film),
            *computed_notes(computed),
            *apart,
        ),
    )
    return JobResult(order, computed, cost, machine, papers, report, whole)


def _whole(program: CutProgram, machine: Machine) -> tuple[str | None, tuple[str, ...]]:
    """All sections in one go, or why there are only those by themselves."""
    try:
        return told_whole(program, machine), ()
    except FitError as error:
        return None, (f"There is no cut.plt, only the sections by themselves. {error}",)


def write_job(result: JobResult, folder: Path) -> None:
    """Write all of a job into *folder*, whole or not at all.

    Raises:
        OutputError: the folder holds something else, or cannot be written.
    """
    drawing = result.computed.drawing
    with write_folder(folder) as inside:
        for name, data in result.papers.items():
            (inside / name).write_bytes(data)
        for piece in result.pieces:
            own = Drawing(patterns=(piece.pattern,))
            (inside / f"piece-{piece.name}.dxf").write_text(dxf_text(own), encoding="utf-8")
            (inside / f"piece-{piece.name}.obj").write_text(flat_obj(piece.flat), encoding="utf-8")
        (inside / "layout.dxf").write_text(dxf_text(drawing), encoding="utf-8")
        (inside / "layout.svg").write_text(svg_text(drawing), encoding="utf-8")
        if result.whole is not None:
            (inside / "cut.plt").write_text(result.whole, encoding="ascii")
        for section in result.program.sections:
            name = f"cut-section-{section.number}.plt"
            (inside / name).write_text(told_text(section.hpgl, result.machine), encoding="ascii")
        (inside / "report.json").write_text(report_json(result.report), encoding="utf-8")
