"""Drawings in from DXF, within bounds, every entity judged and nothing dropped in silence."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from ezdxf.document import Drawing as Document
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.xclip import XClip

from layflat.base import DrawingError, counted
from layflat.pattern.drawing import Layer, Text
from layflat.pattern.dxf_lines import Drawn, drawn
from layflat.pattern.dxf_open import (
    BAD_FILE,
    damaged,
    legible,
    open_dxf,
    paper_entities,
    unit_of_dxf,
)
from layflat.pattern.dxf_write import APP_NAME
from layflat.pattern.loops import Stroke, place_of
from layflat.pattern.mend_hidden import Hidden
from layflat.pattern.mend_record import REFUSE, Findings, were
from layflat.pattern.piece import MarkKind
from layflat.pattern.sketch import Sketch

_MOST_UNFOLDED = 50_000
"""Entities out of blocks: each costs many times what one costs that stands in the file."""

_MOST_POINTS = 2_000_000
_MOST_DEPTH = 8
_NEVER_PLOTTED = "DEFPOINTS"
_LEVEL_MM = 0.01
"""A line that rises by less lies flat."""


class DxfSource:
    """An opened DXF file; see `layflat.pattern.mend_units.Source`."""

    units: tuple[str, ...] = ("mm", "in", "cm", "m", "ft")

    def __init__(self, path: Path, findings: Findings) -> None:
        """Open the file at *path*; *findings* is told what the library mended.

        Raises:
            DrawingError: the file is no DXF, is damaged or too large.
            InputError: the file cannot be read.
        """
        self.document = open_dxf(path, findings)
        unit = unit_of_dxf(self.document)
        self.stated_mm, self.doubt = unit.mm, unit.doubt

    def sketch(self, findings: Findings, *, deviation_mm: float) -> Sketch:
        """What the model space holds, in mm.

        Raises:
            DrawingError: an entity is damaged, too large, or cannot be a flat line.
        """
        reader = _Reader(findings, deviation_mm, *_hidden_layers(self.document))
        try:
            reader.read(self.document.modelspace(), layer=None, depth=0, hidden="")
        except DrawingError:
            raise
        except BAD_FILE as error:
            raise damaged(findings.where, error) from error
        reader.finish(paper=dict(paper_entities(self.document)))
        return reader.sketch


def _hidden_layers(document: Document) -> tuple[dict[str, str], set[str]]:
    """Why layers are not seen, by name in capitals; and those of them that are frozen."""
    hidden, frozen = {}, set()
    for layer in document.layers:
        name = str(layer.dxf.name).upper()
        if layer.is_frozen():
            hidden[name] = "frozen"
            frozen.add(name)
        elif layer.is_off():
            hidden[name] = "switched off"
    return hidden, frozen


@dataclass
class _Reader:
    """Walks through entities and collects strokes, words and points."""

    findings: Findings
    deviation_mm: float
    hidden_layers: dict[str, str]
    frozen: set[str]
    sketch: Sketch = field(default_factory=Sketch)
    hidden: Hidden = field(default_factory=Hidden)
    skipped: Counter[str] = field(default_factory=Counter)
    flattened: Counter[str] = field(default_factory=Counter)
    sloping: list[tuple[str, Stroke, float]] = field(default_factory=list)
    unfolded: int = 0
    points: int = 0
    heights: int = 0

    def read(
        self, entities: Iterable[DXFEntity], *, layer: str | None, depth: int, hidden: str
    ) -> None:
        """Take in the entities; those of a block on layer 0 take the layer of its insertion."""
        for entity in entities:
            self.unfolded += depth > 0
            if self.unfolded > _MOST_UNFOLDED:
                raise DrawingError(
                    f"{self.findings.where}: its blocks unfold to more than {_MOST_UNFOLDED} "
                    "entities; draw its pieces without blocks."
                )
            own = legible(str(entity.dxf.get("layer", "0")))
            self._one(entity, layer if layer and own == "0" else own, depth, hidden)

    def finish(self, *, paper: dict[str, int]) -> None:
        """Settle what is hidden or slopes, and say what was left out, flattened or projected."""
        notes = self.findings.notes
        self.hidden.settle(self.sketch, self.findings)
        self._settle_slopes()
        for name, count in paper.items():
            if not self.sketch.strokes:
                raise DrawingError(
                    f"{self.findings.where} is drawn in paper space only (“{name}”); move the "
                    "pieces to model space, at full size."
                )
            notes.append(f"Paper space “{name}” was not read; it holds {count} entities.")
        if self.skipped:
            kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(self.skipped.items()))
            notes.append(f"Not read, since they are no lines, arcs or texts: {kinds}.")
        if self.flattened:
            kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(self.flattened.items()))
            notes.append(f"{kinds} became chords within {self.deviation_mm:g} mm.")
        if self.heights:
            notes.append(f"Heights (z) of {self.heights} entities were dropped.")

    def _one(self, entity: DXFEntity, layer: str, depth: int, hidden: str) -> None:
        kind = entity.dxftype()
        source = f"{kind} {entity.dxf.get('handle') or 'in a block'}"
        hidden = hidden or self._why_hidden(entity, layer)
        if kind == "INSERT":
            inside = (
                hidden if layer.upper() in self.frozen or entity.dxf.get("invisible", 0) else ""
            )
            self._insert(entity, layer, depth, source, inside)
        elif kind in ("TEXT", "MTEXT", "ATTRIB"):
            self._text(entity, layer, hidden)
        elif kind == "POINT" and layer.upper() == Layer.MARK:
            x, y, _ = entity.dxf.location
            self.sketch.points.append(np.array([x, y]) * self.findings.unit_mm)
        else:
            deviation = self.deviation_mm / self.findings.unit_mm
            lines = drawn(entity, source, deviation=deviation)
            if lines is None:
                self.skipped["mesh" if kind == "POLYLINE" else kind] += 1
                return
            for line in lines:
                self._stroke(entity, layer, line, source, hidden)

    def _why_hidden(self, entity: DXFEntity, layer: str) -> str:
        if layer.upper() == _NEVER_PLOTTED:
            return f"layer {layer}, which is never plotted"
        state = self.hidden_layers.get(layer.upper())
        if state:
            return f"layer {layer}, which is {state}"
        return "entities that are set invisible" if entity.dxf.get("invisible", 0) else ""

    def _insert(self, entity: Any, layer: str, depth: int, source: str, hidden: str) -> None:
        where = self.findings.where
        if depth >= _MOST_DEPTH:
            raise DrawingError(f"{where}: {source} nests blocks deeper than {_MOST_DEPTH}.")
        if entity.mcount > _MOST_UNFOLDED:
            raise DrawingError(f"{where}: {source} repeats its block {entity.mcount} times.")
        if depth == 0 and self._clipped_away(entity, source):
            return

        def lost(_: DXFEntity, why: str) -> None:
            self.skipped[f"part of {source} ({legible(why)[:60]})"] += 1

        for one in entity.multi_insert() if entity.mcount > 1 else (entity,):
            inside = one.virtual_entities(skipped_entity_callback=lost)
            self.read(inside, layer=layer, depth=depth + 1, hidden=hidden)
        self.read(entity.attribs, layer=layer, depth=depth + 1, hidden=hidden)

    def _clipped_away(self, entity: Any, source: str) -> bool:
        """Whether a block of which the drawing shows a window only is left out."""
        if not (entity.has_extension_dict and XClip(entity).has_clipping_path):
            return False
        at = np.array(tuple(entity.dxf.insert))[:2] * self.findings.unit_mm
        answer = self.findings.ask(
            "clip",
            f"The block {source} at {place_of(at)} is clipped: the drawing shows a part of it.",
            {
                "whole": "It is read as a whole.",
                "leave-out": "It is left out.",
                REFUSE: "The drawing is not read, and trimmed where it was drawn.",
            },
            default="whole",
            at=at,
        )
        words = "was read as a whole" if answer == "whole" else "was left out"
        self.findings.mend("clip", f"The clipped block {source} {words}.", at=at)
        return answer == "leave-out"

    def _text(self, entity: Any, layer: str, hidden: str) -> None:
        words = legible(entity.plain_text().replace("\n", " "))
        if entity.dxftype() == "MTEXT":
            point = entity.dxf.insert
            height = entity.dxf.get("char_height", 2.5)
        else:
            _, first, second = entity.get_placement()
            point = first if second is None else (first + second) / 2
            height = entity.dxf.get("height", 2.5)
        place = np.array([point[0], point[1]]) * self.findings.unit_mm
        if not words.strip():
            return
        if not np.isfinite([*place, height]).all():
            raise DrawingError(f"The text “{words[:40]}” holds a number that is not finite.")
        text = Text(place, words, float(height) * self.findings.unit_mm)
        if hidden:
            self.hidden.texts[hidden].append((layer, text))
        else:
            self.sketch.texts.append(text)

    def _stroke(self, entity: Any, layer: str, line: Drawn, source: str, hidden: str) -> None:
        self.points += len(line.points)
        if self.points > _MOST_POINTS:
            raise DrawingError(f"{self.findings.where} holds more than {_MOST_POINTS} points.")
        if len(line.points) < 2:
            self.skipped[f"{entity.dxftype()} of one point"] += 1
            return
        if line.free:
            self.flattened[entity.dxftype()] += line.free
        kind, label = MarkKind.ALIGN, ""
        if entity.has_xdata(APP_NAME):
            value = legible(str(entity.get_xdata(APP_NAME)[0].value))
            if layer.upper() != Layer.MARK:
                label = value
            elif value in set(MarkKind):
                kind = MarkKind(value)
        flat = line.points[:, :2] * self.findings.unit_mm
        stroke = Stroke(flat, line.bulges, line.closed, source, kind, label)
        if hidden:
            self.hidden.strokes[hidden].append((layer, stroke))
            return
        rise = float(np.ptp(line.points[:, 2])) * self.findings.unit_mm
        if rise > _LEVEL_MM:
            self.sloping.append((layer, stroke, rise))
            return
        self.heights += bool(np.abs(line.points[:, 2]).max() > 0)
        if line.fitted:
            self.findings.mend(
                "fit-points",
                f"{source} is given only by points that it passes; a smooth curve was laid "
                f"through them, from {place_of(flat[0])}. Other programs "
                "may bend it differently in between.",
                at=flat[0],
            )
        self.sketch.add(layer, stroke)

    def _settle_slopes(self) -> None:
        """Ask about lines that rise out of the plane: seen from above they are shorter."""
        if not self.sloping:
            return
        layer, first, _ = self.sloping[0]
        many = len(self.sloping)
        rise = max(rise for _, _, rise in self.sloping)
        at = first.points_mm[0]
        if not np.isfinite([*at, rise]).all():
            raise DrawingError(f"{first.source} holds a number that is not finite.")
        answer = self.findings.ask(
            "height",
            f"{counted(many, 'line rises', 'lines rise')} out of the drawing's plane, by up to "
            f"{rise:.4g} mm; {'it' if many == 1 else 'the first'} ({first.source}, layer {layer}) "
            f"begins at {place_of(at)}.",
            {
                "flat": "They are taken as seen from above, where they look shorter.",
                "leave-out": "They are left out.",
                REFUSE: "The drawing is not read, and laid flat where it was drawn.",
            },
            default="flat",
        )
        done = "taken as seen from above" if answer == "flat" else "left out"
        rising = f"that {'rises' if many == 1 else 'rise'} by up to {rise:.4g} mm"
        self.findings.mend(
            "height",
            f"{were(many, 'line', but=rising, done=done)}.",
            at=at,
            measure_mm=rise,
        )
        for layer, stroke, _ in self.sloping if answer == "flat" else ():
            self.sketch.add(layer, stroke)
