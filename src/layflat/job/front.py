"""How a job's film fits, from its file to a folder of sheets and a report."""

import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from layflat.base import (
    Progress,
    Report,
    SettingError,
    part_of,
    report_json,
    silent,
    write_folder,
)
from layflat.film import film_notes, flatten_report, limits_basis
from layflat.fit import Judged, Outcome, Reliefs, Seams, finger_sentences, plan_results
from layflat.job.fitting import Front, fit_front
from layflat.job.fitting_records import FittedPanel, Fitting
from layflat.job.laying import laying_advice, laying_order, leave_free, order_sentence
from layflat.job.order import Order
from layflat.job.places import place_picture
from layflat.job.sheets import SKY_DIRECTIONS, head_of
from layflat.job.single import film_of, reading_notes
from layflat.papers import (
    CutMark,
    FitSheet,
    LayingPiece,
    LayingSheet,
    Way,
    fit_report,
    laying_sheet,
    make_stage,
    panel_title,
    summarise,
)
from layflat.surface import Mesh, mend, read_mesh, read_panels


@dataclass(frozen=True, eq=False)
class FrontResult:
    """How a job's film fits, still to be written.

    Attributes:
        order: the job.
        front: what was found.
        papers: PDFs by file name.
        report: what was computed from what.
    """

    order: Order
    front: Front
    papers: Mapping[str, bytes]
    report: Report

    def lines(self, folder: Path | None) -> Iterator[str]:
        """The result for a person, a line each."""
        where = f"{folder}: " if folder is not None else ""
        yield f"{where}{self.order.number} {self.order.name}, {self.order.vehicle}"
        for panel in self.front.panels:
            yield f"  {panel.name}: {panel.judged.sentence}"
            for sentence in _panel_lines(panel):
                yield f"    {sentence}"
        for pair in self.front.pairs:
            yield f"  {pair.sentence}"
        for name, why in self.front.failed:
            yield f"  {name}: nothing could be computed. {why}"
        for note in self.front.notes:
            yield f"  {note}"


def fit_job(
    order: Order,
    *,
    panel: str | None = None,
    kept: Path | None = None,
    with_papers: bool = True,
    workers: int = 2,
    progress: Progress = silent,
) -> FrontResult:
    """How the film of *order* fits, with all proposals and their sheets.

    Args:
        order: the job.
        panel: the one panel that is looked at, or None for all that are covered.
        kept: a folder for results of steps, or None to keep none.
        with_papers: whether sheets are made.
        workers: processes that work at once.
        progress: told each step; raise `StoppedError` from it to stop.

    Raises:
        InputError: something the order names cannot be used; says why.
        OutputError: the folder of kept results cannot be used.
    """
    began = time.perf_counter()
    order = _only(order, panel)
    defaults = dict(order.defaults)
    inputs = Report.hashes(order.path, order.panels)
    progress("reading the body", 0.0)
    film = film_of(order.film, defaults, inputs)
    read = read_mesh(order.body, unit=order.unit or None)
    inputs[order.body.name] = read.sha256
    mended = mend(read.mesh, progress=part_of(progress, start=0.02, end=0.08))
    front = fit_front(
        order,
        mended.mesh,
        read_panels(order.panels),
        film=film,
        how=Fitting(),
        kept=kept,
        workers=workers,
        progress=part_of(progress, start=0.08, end=0.85 if with_papers else 1.0),
    )
    papers = {}
    if with_papers:
        told = part_of(progress, start=0.85, end=1.0)
        papers = _papers(order, mended.mesh, front, progress=told)
    report = Report(
        kind="fit",
        inputs=inputs,
        results={
            "job": order.number,
            "film": film.name,
            "limits_basis": limits_basis(film),
            **front_results(front),
            "steps_made": dict(front.made),
            "seconds": round(time.perf_counter() - began, 3),
        },
        defaults=defaults,
        warnings=(
            *reading_notes(read, mended),
            *film_notes(film),
            *(f"{one.name}: {note}" for one in front.panels for note in one.piece.notes),
            *(f"{name}: {why}" for name, why in front.failed),
            *front.notes,
        ),
    )
    return FrontResult(order, front, papers, report)


def write_front(result: FrontResult, folder: Path) -> None:
    """Write the sheets and the report into *folder*, whole or not at all.

    Raises:
        OutputError: the folder holds something else, or cannot be written.
    """
    with write_folder(folder) as inside:
        for name, data in result.papers.items():
            (inside / name).write_bytes(data)
        (inside / "report.json").write_text(report_json(result.report), encoding="utf-8")


def front_results(front: Front) -> dict[str, Any]:
    """What was found, for a report: lengths in mm, places in body coordinates."""
    return {
        "panels": {panel.name: _panel_results(panel) for panel in front.panels},
        "pairs": [
            {
                "left": pair.names[0],
                "right": pair.names[1],
                "shared": pair.shared,
                "surface_mm": pair.surface.greatest_mm,
                "outline_mm": pair.outline.greatest_mm,
                "tolerance_mm": pair.tolerance_mm,
                "sentence": pair.sentence,
            }
            for pair in front.pairs
        ],
        "failed": dict(front.failed),
    }


def _only(order: Order, panel: str | None) -> Order:
    """The order with one panel's covers alone."""
    if panel is None:
        return order
    covers = tuple(cover for cover in order.covers if cover.panel == panel)
    if not covers:
        known = ", ".join(dict.fromkeys(cover.panel for cover in order.covers))
        raise SettingError(f"The job does not cover a panel “{panel}”; it covers {known}.")
    return replace(order, covers=covers)


def _panel_results(panel: FittedPanel) -> dict[str, Any]:
    return {
        **flatten_report(panel.piece.flat),
        "judged": _judged_results(panel.judged),
        "fingers": [
            {
                "centre_mm": zone.centre_mm,
                "direction": zone.direction_mm,
                "depth_mm": zone.depth_mm,
                "along_edge_mm": zone.width_mm,
                "excess_mm": zone.excess_mm,
                "greatest_compression": zone.greatest,
                "ends_at_edge": zone.ends_at_edge,
            }
            for zone in panel.fingers.zones
        ],
        "reliefs": _relief_results(panel.reliefs),
        "seams": None if panel.seams is None else _seam_results(panel.seams),
        "blank": {
            "take_blank": panel.blank.take_blank,
            "costs_more": panel.blank.costs,
            "sentence": panel.blank.sentence,
            "reasons": list(panel.blank.reasons),
        },
        "plan": plan_results(panel.plan),
        "sentences": list(_panel_lines(panel)),
    }


def _judged_results(judged: Judged) -> dict[str, Any]:
    return {
        "greatest_stretch_p99": judged.greatest_stretch,
        "share_over_stretch_limit": judged.share_over_stretch_limit,
        "greatest_compression_p99": judged.greatest_compression,
        "finger_zones": judged.finger_zones,
        "finger_excess_mm": judged.finger_excess_mm,
        "energy_mj": judged.energy_mj,
        "within_limits": judged.within_limits,
        "sentence": judged.sentence,
    }


def _relief_results(reliefs: Reliefs) -> dict[str, Any]:
    return {
        "kept": reliefs.kept,
        "proposals": [
            {
                "path_mm": relief.path_mm,
                "length_mm": relief.length_mm,
                "hidden_by": relief.hidden_by,
                "visible_mm": relief.visible_mm,
                "opens_mm": relief.opens_mm,
                "reasons": list(relief.reasons),
                "after": _judged_results(relief.after),
            }
            for relief in reliefs.proposals
        ],
        "after_all": _judged_results(reliefs.after),
        "sentences": list(reliefs.sentences),
    }


def _seam_results(seams: Seams) -> dict[str, Any]:
    return {
        "needed": seams.needed,
        "whole": _outcome_results(seams.whole),
        "options": [
            {
                "paths_mm": list(option.paths_mm),
                "hidden_by": option.hidden_by,
                "outcome": _outcome_results(option.outcome),
                "reasons": list(option.reasons),
            }
            for option in seams.options
        ],
        "sentences": list(seams.sentences),
    }


def _outcome_results(outcome: Outcome) -> dict[str, Any]:
    return {
        "pieces": outcome.pieces,
        "judged": _judged_results(outcome.judged),
        "film_mm2": outcome.film_mm2,
        "fits_roll": outcome.fits_roll,
        "seam_mm": outcome.seam_mm,
        "visible_seam_mm": outcome.visible_seam_mm,
        "minutes": outcome.minutes,
        "cost": outcome.cost,
        "sentence": outcome.sentence,
    }


def _panel_lines(panel: FittedPanel) -> Iterator[str]:
    yield from finger_sentences(panel.fingers)
    for name, relief in _named(panel.reliefs):
        yield f"{name}: {' '.join(relief.reasons)}"
    if panel.reliefs.proposals:
        yield f"With all of them: {panel.reliefs.after.sentence}"
    yield from panel.reliefs.sentences
    if panel.seams is not None:
        yield from panel.seams.sentences
        for number, option in enumerate(panel.seams.options, start=1):
            yield f"Seam {number} of those that would help: {' '.join(option.reasons)}"
    yield panel.blank.sentence


def _named(reliefs: Reliefs) -> Iterator[tuple[str, Any]]:
    """Proposed reliefs with their names: R1, R2, … after those that are kept."""
    for number, relief in enumerate(reliefs.proposals, start=reliefs.kept + 1):
        yield f"R{number}", relief


def _seam_marks(panel: FittedPanel) -> tuple[CutMark, ...]:
    """Proposed seams where one piece asks too much; none on a piece that is cut open already."""
    if not _asks_for_seam(panel) or panel.seams is None:
        return ()
    return tuple(
        CutMark.on(panel.piece.flat, f"S{number}", option.paths_mm[0], is_seam=True)
        for number, option in enumerate(panel.seams.options, start=1)
    )


def _ways(panel: FittedPanel) -> tuple[Way, ...]:
    """One piece beside two along each proposed seam."""
    if not _asks_for_seam(panel) or panel.seams is None:
        return ()
    two = (
        (f"Two, at S{number}", option.outcome)
        for number, option in enumerate(panel.seams.options, start=1)
    )
    return tuple(
        Way(
            name=name,
            stretch=outcome.judged.greatest_stretch - 1.0,
            excess_mm=outcome.judged.finger_excess_mm,
            seam_mm=outcome.seam_mm,
            visible_mm=outcome.visible_seam_mm,
            film_mm2=outcome.film_mm2,
            minutes=outcome.minutes,
        )
        for name, outcome in (("One piece", panel.seams.whole), *two)
    )


def _asks_for_seam(panel: FittedPanel) -> bool:
    seams = panel.seams
    return (
        seams is not None and seams.needed and bool(seams.options) and not panel.piece.cover.reliefs
    )


def _papers(
    order: Order, mesh: Mesh, front: Front, *, progress: Progress = silent
) -> dict[str, bytes]:
    """A fit sheet of each piece with the cuts that are proposed, and one laying sheet."""
    head = head_of(order)
    papers: dict[str, bytes] = {}
    laying: dict[str, LayingPiece] = {}
    stage = make_stage(mesh, sky_directions=SKY_DIRECTIONS)
    for i, panel in enumerate(front.panels):
        progress(f"fit sheet of {panel.name}", i / (len(front.panels) + 1))
        piece = panel.piece
        named = list(_named(panel.reliefs))
        sheet = FitSheet(
            head=head,
            piece=panel_title(piece.name),
            flat=piece.flat,
            pattern=piece.pattern,
            region=piece.region,
            place=place_picture(stage, piece),
            free=piece.keep_outs,
            laying=tuple(laying_advice(piece)),
            warnings=piece.notes,
            fingers=panel.fingers,
            cuts=tuple(
                (CutMark.on(piece.flat, name, relief.path_mm), relief.reasons[0])
                for name, relief in named
            ),
            seams=_seam_marks(panel),
            ways=_ways(panel),
        )
        papers[f"fit-{piece.name}.pdf"] = fit_report(sheet)
        laying[piece.name] = LayingPiece(
            number=i + 1,
            name=panel_title(piece.name),
            pattern=piece.pattern,
            effort=summarise(piece.flat).effort,
            place=sheet.place,
            advice=(*sheet.laying, *leave_free(piece)),
            plan=panel.plan,
        )
    progress("laying sheet", len(front.panels) / (len(front.panels) + 1))
    pieces = [panel.piece for panel in front.panels]
    if pieces:
        papers["laying.pdf"] = laying_sheet(
            LayingSheet(
                head=head,
                film=pieces[0].flat.film.name,
                pieces=tuple(laying[name] for name in laying_order(pieces)),
                order=order_sentence(pieces),
            )
        )
    progress("done", 1.0)
    return papers
