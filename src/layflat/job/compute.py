"""The part of the main job that needs no customer and no paper: pieces, layout, cut, minutes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Final

from layflat.base import Progress, SettingError, part_of, silent
from layflat.cut import (
    CutProgram,
    Machine,
    Tolerance,
    Wishes,
    cut_report,
    program,
    usual_tolerance,
)
from layflat.film import Film, flatten_report
from layflat.job.laying import laying_order
from layflat.job.order import CutOrder, FilmOrder
from layflat.job.pieces import Piece
from layflat.job.sides import make_pieces
from layflat.nest import Layout, Request, layout_drawing, layout_report, place
from layflat.pattern import Drawing, Finish, pattern_area_mm2, pattern_cut_mm
from layflat.plan import Minutes, PieceWork, estimate_minutes
from layflat.surface import BodyInfo, Mesh

_NOTHING: Final[Mapping[str, float]] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class Computed:
    """The film of a job, computed and checked.

    Attributes:
        pieces: in the order of the covers.
        layout: on the roll.
        drawing: the layout, as it is cut.
        program: for the plotter.
        tolerance: what it would cut with a blade of another offset, see `usual_tolerance`.
        minutes: of every step.
    """

    pieces: tuple[Piece, ...]
    layout: Layout
    drawing: Drawing
    program: CutProgram
    tolerance: Tolerance | None
    minutes: Minutes


def compute(
    order: FilmOrder,
    mesh: Mesh,
    info: BodyInfo,
    *,
    film: Film,
    machine: Machine,
    given: Mapping[str, float] = _NOTHING,
    progress: Progress = silent,
) -> Computed:
    """Pieces, layout, cut program and minutes of *order*.

    Args:
        order: what is covered, and from which stock.
        mesh: the body, mended.
        info: its panels.
        film: what is laid.
        machine: what cuts it.
        given: minutes that a person fixed, by step (see `layflat.plan.estimate_minutes`).
        progress: told each step; raise `StoppedError` from it to stop.

    Raises:
        InputError: something that the order names is not there, or a piece does not fit; says
            why. Where one panel's piece cannot be made, the error's `panel` says which.
        SettingError: a piece that is to be cut first is not there.
        CheckError: a result failed its own check.
    """
    pieces = make_pieces(order, mesh, info, film, progress=part_of(progress, start=0.0, end=0.45))
    _require_pieces(order.cut.first, pieces)
    layout = lay_out(order, pieces, progress=part_of(progress, start=0.45, end=0.86))
    drawing = layout_drawing(layout)
    cut = program(
        drawing,
        machine,
        wishes=_wishes(order.cut, layout),
        progress=part_of(progress, start=0.86, end=1.0),
    )
    tolerance = usual_tolerance(cut, drawing, machine)
    minutes = minutes_of(pieces, cut, given=given)
    return Computed(pieces, layout, drawing, cut, tolerance, minutes)


def lay_out(order: FilmOrder, pieces: tuple[Piece, ...], *, progress: Progress = silent) -> Layout:
    """The pieces on the order's roll; film with a direction keeps it."""
    wanted = order.layout
    one_way = pieces[0].flat.film.one_direction
    turns = (0.0,) if one_way else wanted.turns_deg
    turn = {name: index for index, name in enumerate(laying_order(pieces), start=1)}
    layout = place(
        [
            Request(
                pattern=piece.pattern,
                turns_deg=turns,
                lay=turn[piece.name] if order.cut.in_laying_order else None,
            )
            for piece in pieces
        ],
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


def _require_pieces(names: Sequence[str], pieces: Sequence[Piece]) -> None:
    """Refuse names that no piece has, before anything long is computed with them."""
    known = [piece.name for piece in pieces]
    missing = [name for name in names if name not in known]
    if missing:
        raise SettingError(
            f"The job has no piece “{missing[0]}” that could be cut first. There are: "
            f"{', '.join(known)}."
        )


def _wishes(cut: CutOrder, layout: Layout) -> Wishes:
    """What is wished of the program; in a layout's drawing pieces are called by their numbers."""
    names = {one.pattern.name: f"{one.number} {one.pattern.name}" for one in layout.placements}
    return Wishes(
        first=tuple(names[name] for name in cut.first),
        strip_mm=cut.strips_mm,
        tabs=cut.tabs,
        tab_mm=cut.tab_mm,
        hinge_mm=cut.hinge_mm,
    )


def minutes_of(
    pieces: tuple[Piece, ...], cut: CutProgram, *, given: Mapping[str, float] = _NOTHING
) -> Minutes:
    """The time of each step of a job."""
    return estimate_minutes(
        tuple(_work(piece) for piece in pieces), cutting_s=cut.seconds, given=given
    )


def _work(piece: Piece) -> PieceWork:
    pattern = piece.pattern
    return PieceWork(
        name=piece.name,
        area_mm2=pattern_area_mm2(pattern),
        outline_mm=pattern_cut_mm(pattern),
        wrap_mm=sum(
            record.flat_length_mm for record in pattern.edges if record.finish.finish is Finish.WRAP
        ),
        cut_outs=len(pattern.cut_outs),
        strained_share=piece.summary.share_over_stretch_limit,
    )


def computed_results(computed: Computed) -> dict[str, Any]:
    """What came out, for a report."""
    return {
        "pieces": {piece.name: _piece_results(piece) for piece in computed.pieces},
        "layout": layout_report(computed.layout),
        "cut": cut_report(computed.program, tolerance=computed.tolerance),
        "minutes": {
            item.step.value: {"minutes": item.minutes, "source": item.source}
            for item in computed.minutes.steps
        },
    }


def computed_notes(computed: Computed) -> tuple[str, ...]:
    """What there is to say about pieces, layout and program, in sentences."""
    return (
        *(f"{piece.name}: {note}" for piece in computed.pieces for note in piece.notes),
        *computed.layout.notes,
        *computed.program.notes,
    )


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
