"""In which order a job's pieces are laid, and what to mind with each.

There is no one order in the trade. The one here is common practice, no source: from top to
bottom, since slip solution runs down and should run over what is not laid yet; of panels equally
high the larger first, since a large piece asks for room and is the likelier to be lifted again.
A job file may say otherwise: `lay` in a cover is the panel's turn.
"""

import math
from collections.abc import Iterator, Sequence

from layflat.fit import wants_two_people
from layflat.job.pieces import Piece
from layflat.papers import panel_title
from layflat.pattern import EdgeRecord, Finish, reliefs_of

_RULE = (
    "From top to bottom, so that slip runs down over what is not laid yet; of equally high panels "
    "the larger first. Common practice."
)
_MAY_CHANGE = "The installer may change the order."

_LEVEL_MM = 100.0
"""Upper rims that differ by no more are equally high."""
_MM2_PER_DM2 = 1e4
_CROWDED = 0.005
_NEARLY = 0.8
"""Edges that are crowded by nearly as much as the worst are named with it."""


def laying_order(
    pieces: Sequence[Piece], *, up: Sequence[float] = (0.0, 0.0, 1.0)
) -> tuple[str, ...]:
    """The names of *pieces*, of one job, in the order of laying.

    Those whose turn the job file gives come first, by their turns; equal turns and the rest
    follow the rule. Of two pieces of a panel that meet at a seam the one that reaches over it
    comes later.

    Args:
        pieces: of one job.
        up: the direction upwards on their body, of length 1.
    """
    tops = {id(piece): float((piece.region.mesh.vertices_mm @ up).max()) for piece in pieces}
    rest = sorted(pieces, key=lambda piece: tops[id(piece)], reverse=True)
    ordered: list[Piece] = []
    while rest:
        level = [piece for piece in rest if tops[id(piece)] >= tops[id(rest[0])] - _LEVEL_MM]
        del rest[: len(level)]
        level.sort(key=pieces.index)
        # Sorting is stable, and whole square decimetres keep a scan's noise from parting mirror
        # images: they stay in the order in which they were ordered.
        level.sort(key=lambda piece: -round(piece.region.mesh.area_mm2 / _MM2_PER_DM2))
        ordered += level
    ordered.sort(key=lambda piece: math.inf if piece.cover.lay is None else piece.cover.lay)
    return tuple(piece.name for piece in _under_first(ordered))


def _under_first(ordered: list[Piece]) -> list[Piece]:
    """*ordered*, but of one panel's pieces those last that reach over the others."""
    of_panel: dict[str, list[Piece]] = {}
    for piece in ordered:
        of_panel.setdefault(piece.panel.name, []).append(piece)
    for pieces in of_panel.values():
        pieces.sort(key=lambda piece: piece.part)
    return [of_panel[piece.panel.name].pop() for piece in ordered]


def order_sentence(pieces: Sequence[Piece]) -> str:
    """The order of laying in words, for the sheet."""
    given = sum(piece.cover.lay is not None for piece in pieces)
    if given == len(pieces):
        return f"In the order that the job asks for. {_MAY_CHANGE}"
    rule = f"{_RULE} {_MAY_CHANGE}"
    return f"First what the job puts first. Then f{rule[1:]}" if given else rule


def laying_advice(piece: Piece) -> Iterator[str]:
    """What to mind in laying one piece, the places left free apart."""
    if wants_two_people(piece.flat):
        yield "Two people."
    # A relief parts the edge that it starts at, and its own sides close on the car.
    cuts = {slit.name for slit in reliefs_of(piece.region)}
    edges = [record for record in piece.pattern.edges if record.name not in cuts]
    wrapped: dict[str, float] = {}
    for record in edges:
        if record.finish.finish is Finish.WRAP and record.name:
            depth_mm = record.finish.distance_mm
            wrapped[record.name] = max(depth_mm, wrapped.get(record.name, 0.0))
    if wrapped:
        listed = ", ".join(f"{name} ({mm:g}\u00a0mm)" for name, mm in wrapped.items())
        yield f"Wrap after the flat has set: {listed}."
    most = max((_crowd(r) for r in edges if r.name), default=0.0)
    if most > _CROWDED:
        crowded = [r.name for r in edges if r.name and _crowd(r) > _NEARLY * most]
        names = [f"“{panel_title(name)}”" for name in dict.fromkeys(crowded)]
        listed = " and ".join(part for part in (", ".join(names[:-1]), names[-1]) if part)
        where = f"At the edge{'s' if len(names) > 1 else ''} {listed}"
        yield (
            f"{where} the piece is {100 * most:.1f}\u00a0% longer than the car: work the excess "
            "out evenly from the middle, never to one corner."
        )


def leave_free(piece: Piece) -> Iterator[str]:
    """The places of one piece that stay free, in a sentence, if there are any."""
    if piece.keep_outs:
        yield "Leave free: " + "; ".join(item.name or item.kind for item in piece.keep_outs) + "."


def _crowd(record: EdgeRecord) -> float:
    """How much longer the flat edge is than the car's, as a fraction."""
    return record.flat_length_mm / record.surface_length_mm - 1.0
