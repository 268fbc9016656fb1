"""From a body and its covers to pieces of film: cut out, flattened, finished at the edges."""

from collections.abc import Callable
from dataclasses import dataclass

from layflat.base import LayflatError, MeshError, Progress, SettingError, part_of, silent
from layflat.film import (
    Film,
    Flat,
    StretchSummary,
    flatten,
    flatten_warnings,
    overlaps,
    stretch_summary,
    to_flat,
)
from layflat.fit import cut_relief, edge_folds
from layflat.job.order import Cover, FilmOrder
from layflat.pattern import Depths, EdgeFinish, Finish, KeepOutShape, Pattern, from_flat
from layflat.surface import (
    BodyInfo,
    Edge,
    KeepOut,
    Mesh,
    Panel,
    Prepared,
    Region,
    clip_region,
    cut_region,
    locate,
    prepare,
)

_ON_PIECE_MM = 5.0
"""A keep-out farther than this from the covered part of its panel does not concern it."""


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of film of a job.

    Attributes:
        cover: what was ordered.
        panel: the panel on the body.
        region: the surface that the piece covers.
        flat: its flat shape, with the strain of laying it.
        summary: the stretches in numbers.
        keep_outs: the places left free.
        pattern: the outline that is cut.
        notes: sentences on what was trimmed, merged or asks for care.
        wraps: the wrapped edges, with how deep their flaps may be place by place.
    """

    cover: Cover
    panel: Panel
    region: Region
    flat: Flat
    summary: StretchSummary
    keep_outs: tuple[KeepOut, ...]
    pattern: Pattern
    notes: tuple[str, ...]
    wraps: tuple[tuple[Edge, Depths], ...] = ()

    @property
    def name(self) -> str:
        """The piece's name: its panel's."""
        return self.panel.name


def make_pieces(
    order: FilmOrder, mesh: Mesh, info: BodyInfo, film: Film, *, progress: Progress = silent
) -> tuple[Piece, ...]:
    """The pieces of *order*, in its order.

    Args:
        order: what is covered, and how pieces end at edges.
        mesh: the body, mended.
        info: its panels.
        film: what is laid.
        progress: told each step.

    Raises:
        SettingError: a panel, an edge or a keep-out that the order names is not there.
        MeshError: a panel cannot be cut out or laid flat; says which and why.
    """
    jobs = [(cover, known_panel(info, cover)) for cover in order.covers]
    count = len(jobs)
    body = prepare(mesh)
    pieces = []
    for i, (cover, panel) in enumerate(jobs):
        told = part_of(progress, start=i / count, end=(i + 1) / count, prefix=f"{panel.name}: ")
        try:
            pieces.append(make_piece(order, cover, panel, body, film, progress=told))
        except LayflatError as error:
            error.panel = panel.name
            raise
    return tuple(pieces)


def make_piece(
    order: FilmOrder,
    cover: Cover,
    panel: Panel,
    body: Mesh | Prepared,
    film: Film,
    *,
    progress: Progress = silent,
) -> Piece:
    """One piece, as `make_pieces` makes all."""
    region = piece_region(cover, panel, body, progress=part_of(progress, start=0.0, end=0.5))
    flat = flatten(
        region.mesh,
        film,
        finger_aversion=order.finger_aversion,
        progress=part_of(progress, start=0.5, end=0.8),
    )
    progress("drawing the pattern", 0.85)
    piece = finish_piece(order, cover, panel, region, flat, body)
    progress("done", 1.0)
    return piece


def whole_region(
    cover: Cover, panel: Panel, body: Mesh | Prepared, *, progress: Progress = silent
) -> Region:
    """The surface that *cover* covers, before any relief is cut.

    Raises:
        MeshError: it cannot be cut out; says why.
    """
    region = cut_region(body, panel, progress=progress)
    if cover.line_mm is not None and cover.keep_mm is not None:
        region = clip_region(region, line_mm=cover.line_mm, keep_mm=cover.keep_mm)
    return region


def piece_region(
    cover: Cover, panel: Panel, body: Mesh | Prepared, *, progress: Progress = silent
) -> Region:
    """The surface that *cover* covers, open along its reliefs.

    Raises:
        MeshError: it cannot be cut out, or a relief cannot be cut; says why.
    """
    region = whole_region(cover, panel, body, progress=progress)
    for path in cover.reliefs:
        region = cut_relief(region, path)
    return region


def finish_piece(
    order: FilmOrder,
    cover: Cover,
    panel: Panel,
    region: Region,
    flat: Flat,
    body: Mesh | Prepared,
) -> Piece:
    """The piece of a region that has been laid flat.

    Args:
        order: says how pieces end at edges.
        cover, panel: whose piece it is.
        region: see `piece_region`.
        flat: its flat shape.
        body: the whole body, for what lies beyond its edges.

    Raises:
        MeshError: the flat shape overlaps itself.
    """
    notes = list(flatten_warnings(flat))
    if overlaps(flat):
        raise MeshError(f"The panel “{panel.name}” cannot be one piece: {notes[-1]}")
    keep_outs = _kept_free(cover, panel, region, notes)
    finishes = edge_finishes(order, cover)
    made = from_flat(
        flat,
        region,
        name=panel.name,
        finishes=finishes,
        folds=edge_folds(region, body, finishes),
        keep_outs=tuple(
            KeepOutShape(item.name, to_flat(flat, item.points_mm), item.clearance_mm)
            for item in keep_outs
        ),
    )
    return Piece(
        cover=cover,
        panel=panel,
        region=region,
        flat=flat,
        summary=stretch_summary(flat),
        keep_outs=keep_outs,
        pattern=made.pattern,
        notes=(*notes, *made.notes),
        wraps=made.wraps,
    )


def known_panel(info: BodyInfo, cover: Cover) -> Panel:
    """The panel that *cover* names.

    Raises:
        SettingError: it is not there, or an edge or a keep-out that the cover names.
    """
    panel = info.panel(cover.panel)
    if panel is None:
        known = ", ".join(item.name for item in info.panels)
        raise SettingError(f"The body has no panel “{cover.panel}”; it has {known}.")
    edges = {edge.name for loop in (panel.outline, *panel.openings) for edge in loop}
    _require_known(set(cover.finishes), edges, f"The panel “{panel.name}” has no edge")
    free = {item.name for item in panel.keep_outs}
    _require_known(set(cover.film_over), free, f"The panel “{panel.name}” has no keep-out")
    return panel


def _require_known(asked: set[str], known: set[str], sentence: str) -> None:
    unknown = sorted(asked - known)
    if unknown:
        listed = ", ".join(sorted(name for name in known if name)) or "none with a name"
        raise SettingError(f"{sentence} “{unknown[0]}”; it has {listed}.")


def _kept_free(cover: Cover, panel: Panel, region: Region, notes: list[str]) -> tuple[KeepOut, ...]:
    """The keep-outs that the piece has to leave free."""
    kept = []
    for item in panel.keep_outs:
        near = float(locate(region.mesh, item.points_mm).distances_mm.min()) < _ON_PIECE_MM
        if item.name in cover.film_over:
            reason = cover.film_over[item.name]
            notes.append(f"Film goes over the keep-out “{item.name}”, as ordered: {reason}")
        elif near:
            kept.append(item)
        else:
            notes.append(f"The keep-out “{item.name}” lies outside the part that is covered.")
    return tuple(kept)


def edge_finishes(order: FilmOrder, cover: Cover) -> Callable[[Edge], EdgeFinish]:
    """How the piece ends at each edge: the cover's word for it, else the rule for its kind."""
    return lambda edge: cover.finishes.get(edge.name, order.finishes[edge.kind])


def covered_words(piece: Piece) -> str:
    """What the piece covers, in the customer's words."""
    part = "up to the line agreed" if piece.cover.line_mm is not None else "the whole panel"
    edges = piece.pattern.edges
    wrapped = [r.name for r in edges if r.finish.finish is Finish.WRAP and r.name]
    if wrapped:
        return f"{part}, wrapped round: {', '.join(dict.fromkeys(wrapped))}"
    if any(r.finish.finish is Finish.SHORT for r in edges):
        return f"{part}, ending just short of its edges"
    return f"{part}, up to its edges"
