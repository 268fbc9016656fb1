"""From a body and one cover to its pieces of film: cut out, flattened, finished at the edges."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from layflat.base import MeshError, Progress, SettingError, part_of, silent
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
from layflat.fit import (
    OVERLAP_MM,
    Pair,
    cut_relief,
    edge_folds,
    is_seam,
    nearest_part,
    split_regions,
)
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
)

_ON_PIECE_MM = 5.0
"""A keep-out farther than this from the covered part of its panel does not concern it."""

_ON_PART_MM = 0.1
"""One of several pieces is concerned only by keep-outs on it; seams stay clear of the others."""


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of film of a job: that of a panel, or of a part of it beside a seam.

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
        part: its number, from 1, among the pieces that cover its panel, or 0 if it is the only one.
        pair: its panel beside that of the other side, where both are covered.
        is_mirrored: whether it was made from the other side's panel, and mirrored.
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
    part: int = 0
    pair: Pair | None = None
    is_mirrored: bool = False

    @property
    def name(self) -> str:
        """The piece's name: its panel's, and its part's number if there are several."""
        return part_name(self.panel.name, self.part)


def part_name(panel: str, part: int) -> str:
    """What the piece of a panel's part is called; 0 is the only one."""
    return f"{panel} {part}" if part else panel


def make_piece(
    order: FilmOrder,
    cover: Cover,
    panel: Panel,
    body: Mesh | Prepared,
    film: Film,
    *,
    progress: Progress = silent,
) -> Piece:
    """The piece of a cover without seams, by itself, whatever covers the other side."""
    region = whole_region(cover, panel, body, progress=part_of(progress, start=0.0, end=0.5))
    told = part_of(progress, start=0.5, end=1.0)
    cover = replace(cover, seams=())
    (piece,) = make_parts(order, cover, panel, region, body, film, progress=told)
    return piece


def make_parts(
    order: FilmOrder,
    cover: Cover,
    panel: Panel,
    region: Region,
    body: Mesh | Prepared,
    film: Film,
    *,
    whole: Flat | None = None,
    off_mm: float = 0.0,
    progress: Progress = silent,
) -> tuple[Piece, ...]:
    """The pieces of one cover: one, and one more for each seam.

    Args:
        order, cover, panel, body: as in `finish_piece`.
        region: the surface that is covered, without seams and reliefs.
        film: what is laid.
        whole: the flat shape of *region*, if the caller has it.
        off_mm: as in `finish_piece`.
        progress: told each step.

    Raises:
        MeshError: a seam or a relief cannot be cut, or a piece cannot be laid flat; says why.
    """
    regions = opened_parts(cover, panel, region)
    is_whole = not (cover.seams or cover.reliefs)
    pieces = []
    for i, part in enumerate(regions):
        told = part_of(progress, start=i / len(regions), end=(i + 1) / len(regions))
        flat = whole if is_whole else None
        if flat is None:
            flat = flatten(
                part.mesh,
                film,
                finger_aversion=order.finger_aversion,
                progress=part_of(told, start=0.0, end=0.6),
            )
        told("drawing the pattern", 0.7)
        number = i + 1 if len(regions) > 1 else 0
        pieces.append(
            finish_piece(order, cover, panel, part, flat, body, part=number, off_mm=off_mm)
        )
    progress("done", 1.0)
    return tuple(pieces)


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


def part_regions(
    cover: Cover, panel: Panel, body: Mesh | Prepared, *, progress: Progress = silent
) -> tuple[Region, ...]:
    """The surfaces of the pieces of *cover*: parted along its seams, open along its reliefs.

    Raises:
        MeshError: it cannot be cut out, or a seam or a relief cannot be cut; says why.
    """
    return opened_parts(cover, panel, whole_region(cover, panel, body, progress=progress))


def opened_parts(cover: Cover, panel: Panel, region: Region) -> tuple[Region, ...]:
    """What `part_regions` gives, from the surface that *cover* covers.

    Raises:
        MeshError: a seam or a relief cannot be cut; says why.
    """
    parts = list(split_regions(region, cover.seams))
    if cover.seams:
        require_past_keep_outs(cover, panel, parts)
    for path in cover.reliefs:
        mine = nearest_part(parts, path)
        parts[mine] = cut_relief(parts[mine], path)
    return tuple(parts)


def require_past_keep_outs(cover: Cover, panel: Panel, parts: Sequence[Region]) -> None:
    """Refuse seams that lead through a keep-out or its clearance.

    Raises:
        MeshError: one does; says which.
    """
    for item in panel.keep_outs:
        if item.name in cover.film_over:
            continue
        off = np.array([locate(part.mesh, item.points_mm).distances_mm for part in parts])
        holds = (off <= off.min(axis=0) + _ON_PART_MM).all(axis=1)
        beside = np.delete(off, int(holds.argmax()), axis=0)
        if not holds.any() or float(beside.min()) < item.clearance_mm:
            raise MeshError(
                f"A seam on the panel “{panel.name}” leads through the keep-out “{item.name}” or "
                f"nearer to it than its clearance of {item.clearance_mm:g} mm; draw it past it."
            )


def finish_piece(
    order: FilmOrder,
    cover: Cover,
    panel: Panel,
    region: Region,
    flat: Flat,
    body: Mesh | Prepared,
    *,
    part: int = 0,
    off_mm: float = 0.0,
) -> Piece:
    """The piece of a region that has been laid flat.

    Args:
        order: says how pieces end at edges.
        cover, panel: whose piece it is.
        region: see `part_regions`.
        flat: its flat shape.
        body: the whole body, for what lies beyond its edges.
        part: its number among the parts of its panel, from 1, or 0 if it is the only one.
        off_mm: how far the panel's keep-outs may lie off the region, on it all the same.

    Raises:
        MeshError: the flat shape overlaps itself.
    """
    notes = list(flatten_warnings(flat))
    if overlaps(flat):
        raise MeshError(
            f"The panel “{part_name(panel.name, part)}” cannot be one piece: {notes[-1]}"
        )
    keep_outs = _kept_free(cover, panel, region, notes, part, off_mm)
    finishes = edge_finishes(order, cover)
    made = from_flat(
        flat,
        region,
        name=part_name(panel.name, part),
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
        notes=(*notes, *made.notes, *_seam_notes(region, panel, part)),
        wraps=made.wraps,
        part=part,
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


def _seam_notes(region: Region, panel: Panel, part: int) -> list[str]:
    """A sentence on each seam of the piece that covers this part of a panel."""
    names = {
        edge.name for loop in region.loops for edge in loop.edges if is_seam(edge.kind, edge.name)
    }
    return [
        f"{name.capitalize()}: here two pieces meet on the panel “{panel.name}”; the one with the "
        f"lower number reaches {OVERLAP_MM:g} mm over the seam and is laid after the other, on top."
        for name in sorted(names)
        if part
    ]


def _kept_free(
    cover: Cover, panel: Panel, region: Region, notes: list[str], part: int, off_mm: float
) -> tuple[KeepOut, ...]:
    """The keep-outs that the piece has to leave free."""
    kept = []
    for item in panel.keep_outs:
        reach_mm = _ON_PART_MM + off_mm if part else _ON_PIECE_MM
        near = float(locate(region.mesh, item.points_mm).distances_mm.min()) < reach_mm
        if item.name in cover.film_over:
            reason = cover.film_over[item.name]
            notes.append(f"Film goes over the keep-out “{item.name}”, as ordered: {reason}")
        elif near:
            kept.append(item)
        elif not part:
            notes.append(f"The keep-out “{item.name}” lies outside the part that is covered.")
    return tuple(kept)


def edge_finishes(order: FilmOrder, cover: Cover) -> Callable[[Edge], EdgeFinish]:
    """How the piece ends at each edge: the cover's word for it, else the rule for its kind.

    Along a seam it ends where the seam says.
    """

    def finish(edge: Edge) -> EdgeFinish:
        if is_seam(edge.kind, edge.name):
            return EdgeFinish(Finish.FLUSH)
        return cover.finishes.get(edge.name, order.finishes[edge.kind])

    return finish


def covered_words(piece: Piece) -> str:
    """What the piece covers, in the customer's words."""
    part = "up to the line agreed" if piece.cover.line_mm is not None else "the whole panel"
    if piece.part:
        part = f"{part}, part {piece.part}"
    edges = piece.pattern.edges
    wrapped = [r.name for r in edges if r.finish.finish is Finish.WRAP and r.name]
    if wrapped:
        return f"{part}, wrapped round: {', '.join(dict.fromkeys(wrapped))}"
    if any(r.finish.finish is Finish.SHORT for r in edges):
        return f"{part}, ending just short of its edges"
    return f"{part}, up to its edges"
