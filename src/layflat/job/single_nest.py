"""The work of `layflat nest`: pieces from drawings onto a roll."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from layflat.base import DrawingError, Progress, Report, SettingError, counted, silent
from layflat.job.done import Done
from layflat.job.single_drawing import parse_answers
from layflat.nest import Request, Stock, layout_drawing, layout_report, parse_turns, place
from layflat.pattern import dxf_text, read_drawings, svg_text


def nest_files(
    paths: Sequence[Path],
    *,
    width_mm: float,
    edge_margin_mm: float,
    end_margin_mm: float = 5.0,
    gap_mm: float,
    turns: str = "0,180",
    copies: int = 1,
    max_section_mm: float | None = None,
    seconds: float,
    seed: int,
    answers: Sequence[str] = (),
    progress: Progress = silent,
) -> Done:
    """Lay the pieces of the drawings at *paths* out on a roll.

    Args:
        paths: DXF or SVG drawings; each closed loop on OUTLINE is a piece.
        width_mm, edge_margin_mm, end_margin_mm: the stock.
        gap_mm: the least distance between pieces.
        turns: which turns are allowed; see `layflat.nest.parse_turns`.
        copies: of every piece.
        max_section_mm: the greatest length of a section; one section without.
        seconds, seed: the search's time budget and seed.
        answers: to what the drawings ask; see `layflat.job.parse_answers`.
        progress: told length and yield as they improve.

    Returns:
        The layout as .dxf and .svg with its report.

    Raises:
        InputError: a drawing or a value cannot be used, or a piece does not fit; says why.
        CheckError: the layout failed its independent check.
    """
    _require_range("The roll's width", width_mm, 20, 5000, "mm")
    _require_range("The edge margin", edge_margin_mm, 0, width_mm / 2, "mm")
    _require_range("The end margin", end_margin_mm, 0, 1000, "mm")
    _require_range("The gap", gap_mm, 0, 500, "mm")
    _require_range("The time budget", seconds, 0.1, 86_400, "s")
    if max_section_mm is not None:
        _require_range("The greatest section", max_section_mm, 50, 100_000, "mm")
    allowed = parse_turns(turns)
    warnings: list[str] = []
    requests: list[Request] = []
    names: set[str] = set()
    read = read_drawings(paths, answers=parse_answers(answers))
    for path, drawing in zip(paths, read, strict=True):
        warnings += (f"{path.name}: {note}" for note in drawing.notes)
        for pattern in drawing.patterns:
            name = _unique(pattern.name, path.stem, names)
            requests.append(
                Request(pattern=replace(pattern, name=name), copies=copies, turns_deg=allowed)
            )
    if not requests:
        raise DrawingError("There is no piece in the drawings: no closed loop on layer OUTLINE.")
    layout = place(
        requests,
        Stock(width_mm=width_mm, edge_margin_mm=edge_margin_mm, end_margin_mm=end_margin_mm),
        gap_mm=gap_mm,
        seconds=seconds,
        seed=seed,
        max_section_mm=max_section_mm,
        progress=progress,
    )
    laid_out = layout_drawing(layout)
    return Done(
        texts={".dxf": dxf_text(laid_out), ".svg": svg_text(laid_out)},
        report=Report(
            kind="nest",
            inputs=Report.hashes(*paths),
            results=layout_report(layout),
            seed=seed,
            warnings=(*warnings, *layout.notes),
        ),
        sentence=(
            f"{counted(len(layout.placements), 'piece')} on {layout.length_mm / 1000:.3f} m of "
            f"roll in {counted(len(layout.sections), 'section')}; {100 * layout.yield_:.1f} % of "
            "the film is used. "
            f"No layout can be shorter than {layout.lower_bound_mm / 1000:.3f} m."
        ),
    )


def _require_range(what: str, value: float, least: float, most: float, unit: str) -> None:
    if not least <= value <= most:
        raise SettingError(
            f"{what} is {value:g} {unit}; it must lie between {least:g} and {most:g} {unit}."
        )


def _unique(name: str, stem: str, taken: set[str]) -> str:
    """The piece's own name, with the drawing's before it if another piece has it already."""
    candidates = [name, f"{stem} {name}", *(f"{stem} {name} ({i})" for i in range(2, 10_000))]
    found = next(candidate for candidate in candidates if candidate not in taken)
    taken.add(found)
    return found
