"""What the pieces of a cover will be like in the flat, found in milliseconds.

Whole panels are taken as they were measured. A part of a panel is cut out of the whole in the flat:
its rim is carried there from the light surface. Before a body is measured, outlines are laid on the
plane that suits them best and made as large as the surface; that is coarser.
"""

import functools
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from shapely import Polygon

from layflat.base import FloatArray, InputError, frozen
from layflat.nest import Rims, turned_rims
from layflat.pattern import (
    EdgeFinish,
    Finish,
    Pattern,
    pattern_area_mm2,
    pattern_cut_mm,
    sample,
)
from layflat.surface import EdgeKind, Mesh, locate
from layflat.web.bodies.models import Revision
from layflat.web.cover.choices import RULES, Choices, PanelChoice, to_json
from layflat.web.cover.lines import DrawnPart, trace_line
from layflat.web.cover.measure import Measures, PanelMeasures
from layflat.web.cover.order import GAP_MM
from layflat.web.cover.panels import PanelFacts, panels_on, surfaces_of
from layflat.web.patterns.keeping import kept_pattern

_ON_PART_MM = 5.0
_OUTLINE_MM = 1.0
_REMEMBERED: Final = 512

Ended = tuple[EdgeFinish, float]
"""How film ends at an edge, and the edge's length in mm."""


@dataclass(frozen=True, eq=False, kw_only=True)
class FlatShape:
    """One piece to be.

    Attributes:
        panel: its panel's name.
        outline: (k, 2) float64, mm, its longer axis along x.
        grown_mm: how much larger the piece is than the outline, all round and on average.
        area_mm2, rim_mm: of film, and the length of its outline and its cut-outs.
        wrap_mm: the length of its wrapped edges.
        cut_outs: how many holes it has.
        share: of the panel that it covers.
        measures: of the whole panel, if it was measured.
        is_kept: whether it is a kept pattern: its outline is exact, its stretch unknown.
    """

    panel: str
    outline: FloatArray
    grown_mm: float
    area_mm2: float
    rim_mm: float
    wrap_mm: float
    cut_outs: int
    share: float
    measures: PanelMeasures | None
    is_kept: bool = False

    @cached_property
    def turns(self) -> tuple[Rims, ...]:
        """The piece at its quarter turns."""
        return turned_rims(self.outline, around_mm=0.5 * GAP_MM + self.grown_mm)

    @cached_property
    def sides_mm(self) -> tuple[float, float]:
        """The sides of its box, the longer one first."""
        wide, high = np.ptp(self.outline, axis=0) + 2 * self.grown_mm
        return (max(float(wide), float(high)), min(float(wide), float(high)))


def flat_shape(choice: PanelChoice, revision: Revision, measures: Measures | None) -> FlatShape:
    """What the piece of one choice will be like.

    Raises:
        InputError: the panel is not there or cannot be one piece, a line does not part it, or the
            file of a kept pattern is gone.
    """
    if choice.kept is not None:
        return _kept(choice.panel, kept_pattern(choice.kept.pattern))
    asked = _Asked(revision, choice, measures)
    return _shape(asked)


def _kept(panel: str, pattern: Pattern) -> FlatShape:
    """The shape of a kept pattern, as it lies."""
    outline = sample(pattern.outline, deviation_mm=_OUTLINE_MM)
    return FlatShape(
        panel=panel,
        outline=frozen(_upright(outline)),
        grown_mm=0.0,
        area_mm2=pattern_area_mm2(pattern),
        rim_mm=pattern_cut_mm(pattern),
        wrap_mm=sum(
            record.flat_length_mm for record in pattern.edges if record.finish.finish is Finish.WRAP
        ),
        cut_outs=len(pattern.cut_outs),
        share=1.0,
        measures=None,
        is_kept=True,
    )


class _Asked:
    """A shape that is asked for, told from others by contents."""

    def __init__(self, revision: Revision, choice: PanelChoice, measures: Measures | None) -> None:
        self.revision, self.choice, self.measures = revision, choice, measures
        text = json.dumps(to_json(Choices((choice,))), sort_keys=True)
        self._key = (revision.light_id, revision.lines_id, id(measures), text)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Asked) and other._key == self._key

    def __hash__(self) -> int:
        return hash(self._key)


@functools.lru_cache(maxsize=_REMEMBERED)
def _shape(asked: _Asked) -> FlatShape:
    revision, choice, measures = asked.revision, asked.choice, asked.measures
    facts = panels_on(revision).of(choice.panel)
    if measures is not None and choice.panel in measures.faults:
        raise InputError(measures.faults[choice.panel])
    found = None if measures is None else measures.panels.get(choice.panel)
    if not facts.mesh:
        raise InputError(f"{facts.title} cannot be cut out of this scan; see the body's page.")
    if choice.is_whole:
        return _whole(choice, facts, revision, found)
    part = trace_line(revision, choice.panel, choice.line_mm, choice.keep_mm)
    return _part(choice, facts, revision, found, part)


def _whole(
    choice: PanelChoice, facts: PanelFacts, revision: Revision, found: PanelMeasures | None
) -> FlatShape:
    over = len(choice.film_over)
    if found is None:
        surface = surfaces_of(revision)[facts.mesh]
        rim = np.concatenate([edge.points_mm for edge in facts.edges if not edge.is_opening])
        edges = [(_ending(choice, edge.name, edge.kind), edge.length_mm) for edge in facts.edges]
        outline = _laid_flat(rim, surface.area_mm2)
        return _made(choice, outline, edges, cut_outs=len(facts.keep_outs) - over, share=1.0)
    edges = [(_ending(choice, name, kind), size) for name, kind, size in found.edges]
    # What was measured ends as the rules say already.
    usual = [(RULES[kind], size) for _, kind, size in found.edges]
    change = _growth(edges) - _growth(usual)
    length = sum(size for _, size in edges)
    return FlatShape(
        panel=choice.panel,
        outline=found.outline,
        grown_mm=change / max(length, 1.0),
        area_mm2=found.area_mm2 + change,
        rim_mm=found.outline_mm,
        wrap_mm=_wrapped(edges),
        cut_outs=max(found.cut_outs - over, 0),
        share=1.0,
        measures=found,
    )


def _part(
    choice: PanelChoice,
    facts: PanelFacts,
    revision: Revision,
    found: PanelMeasures | None,
    part: DrawnPart,
) -> FlatShape:
    surfaces = surfaces_of(revision)
    surface = surfaces[facts.mesh]
    if found is not None and len(found.light_mm) == len(surface.vertices_mm):
        placed = locate(surface, part.outline_mm)
        corners = found.light_mm[surface.faces[placed.faces]]
        outline = _upright(np.einsum("ij,ijk->ik", placed.barycentric, corners))
    else:
        outline = _laid_flat(part.outline_mm, part.mesh.area_mm2)
    edges = list(_kept_edges(choice, facts, part.mesh))
    free = [
        item
        for item in facts.keep_outs
        if item.name not in choice.film_over and _is_on(surfaces.get(item.mesh), part.mesh)
    ]
    return _made(choice, outline, edges, cut_outs=len(free), share=part.share, measures=found)


def _made(
    choice: PanelChoice,
    outline: FloatArray,
    edges: Sequence[Ended],
    *,
    cut_outs: int,
    share: float,
    measures: PanelMeasures | None = None,
) -> FlatShape:
    growth, shape = _growth(edges), Polygon(outline)
    length = shape.length
    return FlatShape(
        panel=choice.panel,
        outline=frozen(outline),
        grown_mm=growth / max(length, 1.0),
        area_mm2=max(shape.area + growth, 0.0),
        rim_mm=length,
        wrap_mm=_wrapped(edges),
        cut_outs=max(cut_outs, 0),
        share=share,
        measures=measures,
    )


def _ending(choice: PanelChoice, name: str, kind: EdgeKind) -> EdgeFinish:
    return choice.edges.get(name, RULES[kind])


def _growth(edges: Sequence[Ended]) -> float:
    """The area that the endings add to the panel's own, mm²."""
    signs = {Finish.WRAP: 1.0, Finish.SHORT: -1.0, Finish.FLUSH: 0.0}
    return sum(signs[end.finish] * end.distance_mm * size for end, size in edges)


def _wrapped(edges: Sequence[Ended]) -> float:
    return sum(size for end, size in edges if end.finish is Finish.WRAP)


def _kept_edges(choice: PanelChoice, facts: PanelFacts, part: Mesh) -> Iterator[Ended]:
    for edge in facts.edges:
        near = locate(part, edge.points_mm).distances_mm < _ON_PART_MM
        share = float(near.mean())
        if share > 0.0:
            yield _ending(choice, edge.name, edge.kind), share * edge.length_mm


def _is_on(item: Mesh | None, part: Mesh) -> bool:
    if item is None:
        return False
    middle = item.vertices_mm.mean(axis=0, keepdims=True)
    return float(locate(part, middle).distances_mm[0]) < _ON_PART_MM


def _laid_flat(rim: FloatArray, area_mm2: float) -> FloatArray:
    """A rim on its best plane, as large as the surface within it, its longer axis along x."""
    middle = rim - rim.mean(axis=0)
    axes = np.linalg.svd(middle, full_matrices=False)[2][:2]
    outline = _upright(np.einsum("ij,kj->ki", axes, middle))
    shown = Polygon(outline).area
    return outline * np.sqrt(area_mm2 / shown) if shown > 0 else outline


def _upright(outline: FloatArray) -> FloatArray:
    """An outline with the longer principal axis of its area along x, as patterns are posed."""
    x, y = outline.T
    after_x, after_y = np.roll(x, -1), np.roll(y, -1)
    cross = x * after_y - after_x * y
    area = 0.5 * cross.sum()
    if area == 0.0:
        return outline
    at = np.array([((x + after_x) * cross).sum(), ((y + after_y) * cross).sum()]) / (6.0 * area)
    x, y = (outline - at).T
    after_x, after_y = np.roll(x, -1), np.roll(y, -1)
    cross = (x * after_y - after_x * y) / np.copysign(1.0, area)
    xx = ((x * x + x * after_x + after_x * after_x) * cross).sum() / 12.0
    yy = ((y * y + y * after_y + after_y * after_y) * cross).sum() / 12.0
    xy = ((x * after_y + 2 * x * y + 2 * after_x * after_y + after_x * y) * cross).sum() / 24.0
    angle = 0.5 * np.arctan2(2.0 * xy, xx - yy)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return np.asarray(np.einsum("ij,kj->ki", turn, outline - at))
