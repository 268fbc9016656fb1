"""The part of the main job that needs no customer and no paper: pieces, layout, cut, minutes."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Final

from layflat.base import Progress, part_of, silent
from layflat.cut import CutProgram, Machine, cut_report, program
from layflat.film import Film, flatten_report
from layflat.job.order import FilmOrder
from layflat.job.pieces import Piece, make_pieces
from layflat.nest import Layout, Request, layout_drawing, layout_report, place
from layflat.pattern import Drawing, Finish, curve_length_mm, pattern_area_mm2
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
        minutes: of every step.
    """

    pieces: tuple[Piece, ...]
    layout: Layout
    drawing: Drawing
    program: CutProgram
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
        CheckError: a result failed its own check.
    """
    pieces = make_pieces(order, mesh, info, film, progress=part_of(progress, start=0.0, end=0.45))
    layout = lay_out(order, pieces, progress=part_of(progress, start=0.45, end=0.86))
    drawing = layout_drawing(layout)
    cut = program(drawing, machine, progress=part_of(progress, start=0.86, end=1.0))
    return Computed(pieces, layout, drawing, cut, minutes_of(pieces, cut, given=given))


def lay_out(order: FilmOrder, pieces: tuple[Piece, ...], *, progress: Progress = silent) -> Layout:
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
        outline_mm=sum(curve_length_mm(curve) for curve in (pattern.outline, *pattern.cut_outs)),
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
        "cut": cut_report(computed.program),
        "minutes": {
            item.step.value: {"minutes": item.minutes, "source": item.source}
            for item in computed.minutes.steps
        },
    }


def computed_notes(computed: Computed) -> tuple[str, ...]:
    """What there is to say about pieces and layout, in sentences."""
    return (
        *(f"{piece.name}: {note}" for piece in computed.pieces for note in piece.notes),
        *computed.layout.notes,
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
