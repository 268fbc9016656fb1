"""All pieces of a job; where left and right are each other's image, one pattern serves both.

The right panel's piece is then made on the left panel's surface, with the right one's edges,
keep-outs, finishes, seams and reliefs, and mirrored as it is. So the patterns of both differ in
nothing but what was chosen otherwise, whatever the noise of the scan.
"""

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Final

from layflat.base import LayflatError, Progress, part_of, silent
from layflat.film import Film, Flat
from layflat.fit import (
    Mirroring,
    Pair,
    compare_pair,
    shared_flat,
    shared_pattern,
    shared_region,
    shared_wraps,
    with_edges_of,
)
from layflat.job.order import Cover, FilmOrder
from layflat.job.pieces import Piece, edge_finishes, known_panel, make_parts, whole_region
from layflat.pattern import MarkKind
from layflat.surface import BodyInfo, Mesh, Panel, Region, prepare

_SIDES: Final = ("left", "right")
_PLACE: Final = re.compile(r"near x (-?\d+), y (-?\d+) mm")
"""How notes on a pattern name a place in its flat."""


def side_pairs(names: Sequence[str]) -> tuple[tuple[int, int], ...]:
    """The numbers, from 0, of the left and the right of *names* that differ by their side alone."""
    left, right = _SIDES
    at = {name: number for number, name in enumerate(names)}
    others = [(number, name.replace(left, right)) for name, number in at.items() if left in name]
    return tuple((number, at[other]) for number, other in others if other in at)


@dataclass(frozen=True, eq=False)
class Twin:
    """A right panel's cover as it is on the left panel's surface, where its piece is made.

    Attributes:
        cover, panel: its seams, reliefs and keep-outs mirrored.
        region: the left panel's surface, its edges named as the right panel's.
        pair: both panels.
    """

    cover: Cover
    panel: Panel
    region: Region
    pair: Pair

    @property
    def mirroring(self) -> Mirroring:
        """Takes the left panel onto the right one."""
        return self.pair.mirroring


def twin_of(cover: Cover, panel: Panel, *, left: Region, right: Region, pair: Pair) -> Twin:
    """The right panel's cover on the left panel's surface.

    Args:
        cover, panel: of the right side.
        left, right: the surfaces that are covered, without seams and reliefs.
        pair: of both, shared.
    """
    back = pair.mirroring.back
    return Twin(
        cover=replace(
            cover,
            reliefs=tuple(back.of(path) for path in cover.reliefs),
            # The first part lies on a seam's left: mirrored, it is drawn the other way.
            seams=tuple(back.of(path)[::-1] for path in cover.seams),
        ),
        panel=replace(
            panel,
            keep_outs=tuple(
                replace(item, points_mm=back.of(item.points_mm)) for item in panel.keep_outs
            ),
        ),
        region=with_edges_of(left, right, pair.edges.other),
        pair=pair,
    )


def like_left(order: FilmOrder, left: Piece, twin: Twin) -> Piece | None:
    """What would be made of *twin*, taken from the left panel's own piece; None if it differs.

    It is the same where nothing was chosen otherwise and nothing is cut or left free on either.

    Args:
        order: says how pieces end at edges.
        left: the piece of the whole left panel.
        twin: see `twin_of`.
    """
    pairs = zip(
        (edge for loop in left.region.loops for edge in loop.edges),
        (edge for loop in twin.region.loops for edge in loop.edges),
        strict=True,
    )
    ours, theirs = edge_finishes(order, left.cover), edge_finishes(order, twin.cover)
    is_plain = not any(
        cover.seams or cover.reliefs or cover.film_over or panel.keep_outs
        for cover, panel in ((left.cover, left.panel), (twin.cover, twin.panel))
    )
    if not is_plain or any(one.name != two.name or ours(one) != theirs(two) for one, two in pairs):
        return None
    pattern = left.pattern
    marks = [
        replace(mark, text=twin.panel.name) if mark.kind is MarkKind.NUMBER else mark
        for mark in pattern.marks
    ]
    return replace(
        left,
        cover=twin.cover,
        panel=twin.panel,
        pattern=replace(pattern, name=twin.panel.name, marks=tuple(marks)),
    )


def from_twin(piece: Piece, twin: Twin, *, cover: Cover, panel: Panel) -> Piece:
    """The right panel's piece from that which was made on the left panel's surface.

    Args:
        piece: of *twin*'s cover and panel.
        twin: see `twin_of`.
        cover, panel: of the right side.
    """
    own = dict(zip(map(id, twin.panel.keep_outs), panel.keep_outs, strict=True))
    region = shared_region(piece.region, twin.mirroring)
    return replace(
        piece,
        cover=cover,
        panel=panel,
        region=region,
        flat=shared_flat(piece.flat, twin.mirroring),
        keep_outs=tuple(own[id(item)] for item in piece.keep_outs),
        pattern=shared_pattern(piece.pattern, name=piece.name),
        notes=(*map(_turned, piece.notes), _mirrored_note(twin.pair)),
        wraps=shared_wraps(piece.wraps, piece.region, region),
        pair=twin.pair,
        is_mirrored=True,
    )


def in_pair(piece: Piece, pair: Pair | None) -> Piece:
    """A piece that was made by itself, beside the other side; what keeps them apart is noted."""
    if pair is None:
        return piece
    notes = piece.notes if pair.shared else (*piece.notes, pair.sentence)
    return replace(piece, pair=pair, notes=notes)


def _mirrored_note(pair: Pair) -> str:
    return (
        f"The mirror image of the piece of “{pair.names[0]}”: by the scan the surfaces differ by "
        f"{pair.surface.greatest_mm:.2f} mm at most, the outlines by "
        f"{pair.outline.greatest_mm:.2f} mm, and {pair.tolerance_mm:g} mm are allowed."
    )


def _turned(note: str) -> str:
    """A note whose places in the flat are mirrored."""
    return _PLACE.sub(lambda found: f"near x {found[1]}, y {-int(found[2])} mm", note)


def make_pieces(
    order: FilmOrder, mesh: Mesh, info: BodyInfo, film: Film, *, progress: Progress = silent
) -> tuple[Piece, ...]:
    """The pieces of *order*, in its order; a cover with seams has several.

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
    covers = order.covers
    panels = [known_panel(info, cover) for cover in covers]
    body = prepare(mesh)
    regions = []
    for i, panel in enumerate(panels):
        told = _told(progress, 0.0, 0.4, i, panels)
        with _naming(panel):
            regions.append(whole_region(covers[i], panel, body, progress=told))
    pairs: dict[int, Pair] = {}
    twins: dict[int, tuple[int, Twin]] = {}
    for left, right in side_pairs([panel.name for panel in panels]) if order.share_sides else ():
        names = panels[left].name, panels[right].name
        progress(f"{names[0]}: comparing it with {names[1]}", 0.4)
        pair = compare_pair(
            regions[left], regions[right], names=names, tolerance_mm=order.sides_tolerance_mm
        )
        pairs[left] = pairs[right] = pair
        if pair.shared:
            twin = twin_of(
                covers[right], panels[right], left=regions[left], right=regions[right], pair=pair
            )
            twins[right] = left, twin
    made: dict[int, tuple[Piece, ...]] = {}
    # Those that others are mirrored from first, so that their flat shapes are there.
    for k, i in enumerate(sorted(range(len(covers)), key=lambda i: i in twins)):
        told = _told(progress, 0.45, 1.0, k, [panels[i]] * len(covers))
        with _naming(panels[i]):
            if i not in twins:
                parts = make_parts(
                    order, covers[i], panels[i], regions[i], body, film, progress=told
                )
                made[i] = tuple(in_pair(piece, pairs.get(i)) for piece in parts)
                continue
            left, twin = twins[i]
            same = like_left(order, made[left][0], twin)
            parts = (
                (same,)
                if same
                else make_parts(
                    order,
                    twin.cover,
                    twin.panel,
                    twin.region,
                    body,
                    film,
                    whole=_whole_flat(covers[left], made[left]),
                    off_mm=twin.pair.tolerance_mm,
                    progress=told,
                )
            )
            made[i] = tuple(
                from_twin(piece, twin, cover=covers[i], panel=panels[i]) for piece in parts
            )
    return tuple(piece for i in range(len(covers)) for piece in made[i])


def _whole_flat(cover: Cover, pieces: Sequence[Piece]) -> Flat | None:
    """The flat shape of all that a cover covers, where one of its pieces has it."""
    return None if cover.seams or cover.reliefs else pieces[0].flat


def _told(
    progress: Progress, start: float, end: float, number: int, panels: Sequence[Panel]
) -> Progress:
    """The progress of one panel's step, from *start* to *end* of all."""
    step = (end - start) / len(panels)
    return part_of(
        progress,
        start=start + number * step,
        end=start + (number + 1) * step,
        prefix=f"{panels[number].name}: ",
    )


@contextmanager
def _naming(panel: Panel) -> Iterator[None]:
    """Errors say which panel they are about."""
    try:
        yield
    except LayflatError as error:
        error.panel = panel.name
        raise
