"""The part of the main job that needs no customer and no paper: pieces, layout, cut, minutes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Final

from layflat.base import InputError, Progress, SettingError, part_of, silent
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
from layflat.pattern import Drawing, Finish, Pattern, pattern_area_mm2, pattern_cut_mm
from layflat.plan import Minutes, PieceWork, estimate_minutes
from layflat.revise import Applied, Revision, apply
from layflat.surface import BodyInfo, Mesh

_NOTHING: Final[Mapping[str, float]] = MappingProxyType({})
_AS_COMPUTED: Final[Mapping[str, Revision]] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class Computed:
    """The film of a job, computed and checked.

    Attributes:
        pieces: in the order of the covers.
        kept: patterns without a surface that are laid with them; their strain is unknown.
        layout: on the roll, of all of these.
        drawing: the layout, as it is cut.
        program: for the plotter.
        tolerance: what it would cut with a blade of another offset, see `usual_tolerance`.
        minutes: of every step.
        applied: by the names of pieces and kept patterns, what a revision made of them.
    """

    pieces: tuple[Piece, ...]
    layout: Layout
    drawing: Drawing
    program: CutProgram
    tolerance: Tolerance | None
    minutes: Minutes
    kept: tuple[Pattern, ...] = ()
    applied: Mapping[str, Applied] = field(default_factory=dict)


def compute(
    order: FilmOrder,
    mesh: Mesh | None,
    info: BodyInfo,
    *,
    film: Film,
    machine: Machine,
    kept: Sequence[Pattern] = (),
    revisions: Mapping[str, Revision] = _AS_COMPUTED,
    given: Mapping[str, float] = _NOTHING,
    progress: Progress = silent,
) -> Computed:
    """Pieces, layout, cut program and minutes of *order*.

    Args:
        order: what is covered, and from which stock.
        mesh: the body, mended; None where the order covers none of its panels.
        info: its panels.
        film: what is laid.
        machine: what cuts it.
        kept: patterns without a surface, from templates and drawings, that are laid out and cut
            as they are; names apart from the panels'. They are laid after all others, for nothing
            says how high they sit.
        revisions: what fit notes of earlier cars made of some pieces, by their names; a piece that
            ends otherwise at its edges takes the same change, see `layflat.revise.apply`.
        given: minutes that a person fixed, by step (see `layflat.plan.estimate_minutes`).
        progress: told each step; raise `StoppedError` from it to stop.

    Raises:
        InputError: something that the order names is not there, or a piece does not fit; says
            why. Where one panel's piece cannot be made, the error's `panel` says which.
        SettingError: a piece that is to be cut first is not there.
        CheckError: a result failed its own check.
    """
    kept = tuple(kept)
    pieces: tuple[Piece, ...] = ()
    if order.covers or not kept:
        if mesh is None:
            raise InputError("Panels are covered, and the body has no scan to make them from.")
        pieces = make_pieces(
            order, mesh, info, film, progress=part_of(progress, start=0.0, end=0.45)
        )
    _require_apart(pieces, kept)
    applied = _applied(revisions, (*(piece.pattern for piece in pieces), *kept))
    pieces = tuple(
        replace(piece, pattern=applied[piece.name].pattern) if piece.name in applied else piece
        for piece in pieces
    )
    kept = tuple(
        applied[pattern.name].pattern if pattern.name in applied else pattern for pattern in kept
    )
    _require_pieces(order.cut.first, [*_names(pieces), *(pattern.name for pattern in kept)])
    layout = lay_out(
        order, pieces, kept, film=film, progress=part_of(progress, start=0.45, end=0.86)
    )
    drawing = layout_drawing(layout)
    cut = program(
        drawing,
        machine,
        wishes=_wishes(order.cut, layout),
        progress=part_of(progress, start=0.86, end=1.0),
    )
    tolerance = usual_tolerance(cut, drawing, machine)
    minutes = minutes_of(pieces, cut, kept, given=given)
    return Computed(pieces, layout, drawing, cut, tolerance, minutes, kept, applied)


def _applied(revisions: Mapping[str, Revision], patterns: Sequence[Pattern]) -> dict[str, Applied]:
    """What the revisions make of the patterns that have one.

    Raises:
        InputError: one cannot be carried over; says which and why.
    """
    found = {}
    for pattern in patterns:
        if pattern.name in revisions:
            try:
                found[pattern.name] = apply(revisions[pattern.name], pattern)
            except InputError as error:
                raise InputError(
                    f"Revision {revisions[pattern.name].number} of “{pattern.name}” does not go "
                    f"with this piece: {error} Take it back, or end the piece as it ended before."
                ) from error
    return found


def _names(pieces: Sequence[Piece]) -> list[str]:
    return [piece.name for piece in pieces]


def _require_apart(pieces: Sequence[Piece], kept: Sequence[Pattern]) -> None:
    """Refuse kept patterns that are called as a piece is, or as each other."""
    names = [*_names(pieces), *(pattern.name for pattern in kept)]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise InputError(
            f"Two pieces would be called “{twice}”: one from the scan, one from a kept pattern. "
            "Give the kept pattern another name, or leave one of them bare."
        )


def lay_out(
    order: FilmOrder,
    pieces: tuple[Piece, ...],
    kept: Sequence[Pattern] = (),
    *,
    film: Film,
    progress: Progress = silent,
) -> Layout:
    """The pieces and the kept patterns on the order's roll; film with a direction keeps it."""
    wanted = order.layout
    one_way = film.one_direction
    turns = (0.0,) if one_way else wanted.turns_deg
    names = [*laying_order(pieces), *(pattern.name for pattern in kept)]
    turn = {name: index for index, name in enumerate(names, start=1)}
    layout = place(
        [
            Request(
                pattern=pattern,
                turns_deg=turns,
                lay=turn[pattern.name] if order.cut.in_laying_order else None,
            )
            for pattern in (*(piece.pattern for piece in pieces), *kept)
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


def _require_pieces(names: Sequence[str], known: Sequence[str]) -> None:
    """Refuse names that no piece has, before anything long is computed with them."""
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
    pieces: tuple[Piece, ...],
    cut: CutProgram,
    kept: Sequence[Pattern] = (),
    *,
    given: Mapping[str, float] = _NOTHING,
) -> Minutes:
    """The time of each step of a job; a kept pattern counts as if nothing of it were strained."""
    work = [
        _work(piece.pattern, strained=piece.summary.share_over_stretch_limit) for piece in pieces
    ]
    work += [_work(pattern, strained=0.0) for pattern in kept]
    return estimate_minutes(tuple(work), cutting_s=cut.seconds, given=given)


def _work(pattern: Pattern, *, strained: float) -> PieceWork:
    return PieceWork(
        name=pattern.name,
        area_mm2=pattern_area_mm2(pattern),
        outline_mm=pattern_cut_mm(pattern),
        wrap_mm=sum(
            record.flat_length_mm for record in pattern.edges if record.finish.finish is Finish.WRAP
        ),
        cut_outs=len(pattern.cut_outs),
        strained_share=strained,
    )


def computed_results(computed: Computed) -> dict[str, Any]:
    """What came out, for a report."""
    kept = {pattern.name: _kept_results(pattern) for pattern in computed.kept}
    return {
        "pieces": {piece.name: _piece_results(piece) for piece in computed.pieces},
        **({"kept": kept} if kept else {}),
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
        "edges": _edges(piece.pattern),
        "left_free": [item.name for item in piece.keep_outs],
    }


def _kept_results(pattern: Pattern) -> dict[str, Any]:
    return {
        "strain": "unknown",
        "area_mm2": pattern_area_mm2(pattern),
        "edges": _edges(pattern),
        "cut_outs": len(pattern.cut_outs),
    }


def _edges(pattern: Pattern) -> list[dict[str, Any]]:
    return [
        {
            "name": record.name,
            "kind": record.kind.value,
            "finish": record.finish.finish.value,
            "distance_mm": record.finish.distance_mm,
            "surface_length_mm": record.surface_length_mm,
            "flat_length_mm": record.flat_length_mm,
        }
        for record in pattern.edges
    ]
