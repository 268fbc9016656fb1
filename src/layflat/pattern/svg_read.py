"""Drawings in from SVG, within bounds: first as guarded XML, then element by element.

SVG's y runs down and ours up, so that every y changes its sign. The file's size, unit and
transformations are resolved here; `svgelements` reads the path data.
"""

import io
import math
import re
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError

import numpy as np
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from layflat.base import DrawingError, counted, read_bytes
from layflat.pattern.drawing import Layer, Text
from layflat.pattern.loops import Stroke
from layflat.pattern.mend_hidden import Hidden
from layflat.pattern.mend_record import REFUSE, Findings
from layflat.pattern.piece import MarkKind
from layflat.pattern.sketch import Sketch
from layflat.pattern.svg_path import count_numbers, shape_path, strokes_of_path
from layflat.pattern.svg_place import Place, in_frame, inside, moved, style_of, tag_of
from layflat.pattern.svg_units import number, plain_length, unit_of_svg, view_box

_MOST_BYTES = 20_000_000
_MOST_ELEMENTS = 200_000
_MOST_POINTS = 2_000_000
_MOST_NUMBERS = 400_000
"""Of all path data and points together; the library reads some ten thousand in a second."""

_MOST_DEPTH = 32
_MOST_CLONED = 20_000
_MOST_CLONE_DEPTH = 8
_LOOSE = "NO GROUP"
_HREF = ("href", "{http://www.w3.org/1999/xlink}href")
_GROUPS = {"g", "a", "switch"}
_SHAPES = {"path", "polyline", "polygon", "line", "rect", "circle", "ellipse"}
_NEVER_DRAWN = {
    "clipPath", "defs", "desc", "filter", "linearGradient", "marker", "mask", "metadata", "pattern",
    "radialGradient", "script", "symbol", "title", "view",
}  # fmt: skip
_DAMAGED = (ValueError, LookupError, TypeError, AttributeError, ArithmeticError)
_MATTERS = re.compile(r"\b(display|visibility|transform|translate|rotate|scale|clip-path|d)\s*:")
"""Properties in a style sheet that hide, move or clip a line."""


class SvgSource:
    """An opened SVG file; see `layflat.pattern.mend_units.Source`."""

    units: tuple[str, ...] = ("px", "mm", "in", "cm", "pt")

    def __init__(self, path: Path, findings: Findings) -> None:
        """Open the file at *path*; *findings* is told what was assumed of its size.

        Raises:
            DrawingError: the file is no SVG, is damaged, too large, or holds entities.
            InputError: the file cannot be read.
        """
        self.root = _guarded(read_bytes(path, max_bytes=_MOST_BYTES), where=path.name)
        unit = unit_of_svg(self.root, where=path.name, notes=findings.notes)
        self.stated_mm, self.doubt = unit.mm, unit.doubt

    def sketch(self, findings: Findings, *, deviation_mm: float) -> Sketch:
        """What the file draws, in mm.

        Raises:
            DrawingError: an element is damaged, too large, or cannot be read for what it shows.
        """
        scale = findings.unit_mm
        ids: dict[str, Element] = {}
        for element in self.root.iter():
            ids.setdefault(element.get("id", ""), element)
        reader = _Reader(findings, deviation_mm, ids)
        box = view_box(self.root, findings.where)
        size = tuple(plain_length(self.root.get(name, "")) for name in ("width", "height"))
        viewport = box[2:] if box else size if None not in size else None
        to_mm = np.array([[scale, 0.0, 0.0], [0.0, -scale, 0.0]])
        place = Place(to_mm, _LOOSE, viewport=viewport)  # type: ignore[arg-type]
        self.root.attrib.pop("id", None)
        reader.children(self.root, inside(self.root, place, "svg", findings.where), clones=0)
        reader.finish()
        return reader.sketch


def _guarded(data: bytes, *, where: str) -> Element:
    """The root of the file, which holds no entities and keeps within the bounds."""
    depth = count = 0
    root: Element | None = None
    try:
        for event, element in iterparse(io.BytesIO(data), events=("start", "end")):
            if event == "end":
                depth -= 1
                continue
            root = element if root is None else root
            depth, count = depth + 1, count + 1
            if depth > _MOST_DEPTH:
                raise DrawingError(f"{where} nests groups deeper than {_MOST_DEPTH}; ungroup them.")
            if count > _MOST_ELEMENTS:
                raise DrawingError(f"{where} holds more than {_MOST_ELEMENTS} elements.")
    except DrawingError:
        raise
    except DefusedXmlException as error:
        raise DrawingError(
            f"{where} defines entities, which a drawing has no need of; save it as plain SVG."
        ) from error
    except (ParseError, ValueError, LookupError) as error:
        raise DrawingError(f"{where} is damaged and cannot be read as SVG: {error}.") from error
    if root is None or tag_of(root) != "svg":
        raise DrawingError(f"{where} is not an SVG drawing.")
    return root


@dataclass
class _Reader:
    """Walks through the groups and collects strokes, words and points."""

    findings: Findings
    deviation_mm: float
    ids: dict[str, Element]
    sketch: Sketch = field(default_factory=Sketch)
    hidden: Hidden = field(default_factory=Hidden)
    skipped: Counter[str] = field(default_factory=Counter)
    seen: Counter[str] = field(default_factory=Counter)
    clip: str = ""
    styled: bool = False
    cloned: int = 0
    flattened: int = 0
    points: int = 0
    numbers: int = 0

    def children(self, group: Element, place: Place, *, clones: int) -> None:
        """Take in what a group holds."""
        for element in group:
            tag = tag_of(element)
            if not tag.startswith("“") and tag not in _NEVER_DRAWN:
                self._one(element, tag, place, clones)

    def finish(self) -> None:
        """Settle what is hidden; note what was left out or flattened."""
        self.hidden.settle(self.sketch, self.findings)
        if self.skipped:
            kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(self.skipped.items()))
            self.findings.notes.append(
                f"Not read, since they are no visible lines or texts: {kinds}."
            )
        if self.flattened:
            self.findings.notes.append(
                f"{counted(self.flattened, 'free curve')} became chords within "
                f"{self.deviation_mm:g} mm."
            )

    def _one(self, element: Element, tag: str, place: Place, clones: int) -> None:
        self.cloned += clones > 0
        if self.cloned > _MOST_CLONED:
            raise DrawingError(
                f"{self.findings.where}: its clones (<use>) unfold to more than {_MOST_CLONED} "
                "elements; turn them into lines of their own."
            )
        if tag == "style":
            self._style_sheet(element)
        elif tag not in _GROUPS | _SHAPES | {"svg", "use", "text"}:
            self.skipped[tag] += 1
        elif not self._clipped_away(element, tag):
            within = inside(element, place, tag, self.findings.where)
            if tag in _GROUPS:
                self.children(element, within, clones=clones)
            elif tag == "svg":
                framed = in_frame(element, within, self.findings.where)
                self.children(element, framed, clones=clones)
            elif tag == "use":
                self._clone(element, within, clones)
            elif tag == "text":
                self._text(element, within)
            else:
                self._shape(element, within, tag)

    def _clone(self, element: Element, place: Place, clones: int) -> None:
        """What a <use> shows, where it shows it."""
        where = self.findings.where
        words = next((element.get(name, "") for name in _HREF if element.get(name)), "").strip()
        if clones >= _MOST_CLONE_DEPTH:
            raise DrawingError(
                f"{where} nests clones (<use>) deeper than {_MOST_CLONE_DEPTH}, or in a circle; "
                "turn them into lines of their own."
            )
        if not words.startswith("#"):
            raise DrawingError(
                f"{where} shows a part of another file (<use> of “{words[:60]}”); put it into this."
            )
        target = self.ids.get(words[1:])
        if target is None or not words[1:]:
            self.findings.mend(
                "clone", f"A clone (<use>) of “{words[1:60]}”, which the file lacks, shows nothing."
            )
            return
        shift = [plain_length(element.get(name, "0")) for name in ("x", "y")]
        if None in shift:
            raise DrawingError(
                f"{where}: a clone (<use>) stands at a relative place; make it plain."
            )
        place = moved(
            place, np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]]], dtype=np.float64)
        )
        tag = tag_of(target)
        if tag in ("symbol", "svg"):
            within = inside(target, place, tag, where)
            framed = in_frame(target, within, where, clone=element)
            self.children(target, framed, clones=clones + 1)
        else:
            self._one(target, tag, place, clones + 1)

    def _clipped_away(self, element: Element, tag: str) -> bool:
        """Whether an element of which the drawing shows a part only is left out."""
        style = style_of(element)
        if not any(style.get(name, "none") != "none" for name in ("clip-path", "mask")):
            return False
        if not self.clip:
            name = f"{tag} “{element.get('id')}”" if element.get("id") else tag
            self.clip = self.findings.ask(
                "clip",
                f"Lines are clipped or masked, first the {name}: the drawing shows a part of them.",
                {
                    "whole": "They are read as a whole.",
                    "leave-out": "They are left out.",
                    REFUSE: "The drawing is not read, and trimmed where it was drawn.",
                },
                default="whole",
            )
            words = "read as a whole" if self.clip == "whole" else "left out"
            self.findings.mend("clip", f"Clipped or masked lines were {words}, first the {name}.")
        return self.clip == "leave-out"

    def _style_sheet(self, element: Element) -> None:
        """A style sheet is not read; one that may hide or move lines is asked about."""
        self.styled = True
        self.skipped["style sheet"] += 1
        found = _MATTERS.search("".join(element.itertext()))
        if found:
            self.findings.ask(
                "style",
                f"A style sheet may hide, move or clip lines (it sets “{found[1]}”), and is not "
                "read.",
                {
                    "as-drawn": "The lines are read as if there were none.",
                    REFUSE: "The drawing is not read, and saved without style sheets.",
                },
                default="as-drawn",
            )

    def _shape(self, element: Element, place: Place, tag: str) -> None:
        self.seen[tag] += 1
        own = element.get("id")
        source = f"{tag} “{own}”" if own else f"{tag} {self.seen[tag]}"
        where = f"{self.findings.where}: the {source}"
        self.numbers += count_numbers(element.attrib)
        if self.numbers > _MOST_NUMBERS:
            raise DrawingError(
                f"{self.findings.where} holds more than {_MOST_NUMBERS} numbers in its paths; draw "
                "it with fewer points."
            )
        try:
            path = shape_path(tag, element.attrib, where=where)
            lines = strokes_of_path(path, place.to_mm, deviation_mm=self.deviation_mm)
        except DrawingError:
            raise
        except _DAMAGED as error:
            raise DrawingError(f"{where} is damaged and cannot be read.") from error
        kind = element.get("data-kind", "")
        unseen = place.fill == "none" and place.stroke == "none" and not self.styled
        hidden = place.hidden or ("shapes with neither stroke nor fill" if unseen else "")
        for line in lines:
            self.points += len(line.points_mm)
            self.flattened += line.free_curves
            if self.points > _MOST_POINTS:
                raise DrawingError(f"{self.findings.where} holds more than {_MOST_POINTS} points.")
            if len(line.points_mm) < 2:
                self._point(line.points_mm[0], kind, element.get("data-text", ""), tag, place)
                continue
            label = element.get("data-text" if place.layer == Layer.MARK else "data-piece", "")
            stroke = Stroke(
                line.points_mm,
                line.bulges,
                line.closed,
                source,
                MarkKind(kind) if kind in set(MarkKind) else MarkKind.ALIGN,
                label,
            )
            if hidden:
                self.hidden.strokes[hidden].append((place.layer, stroke))
            else:
                self.sketch.add(place.layer, stroke)

    def _point(self, point: np.ndarray, kind: str, words: str, tag: str, place: Place) -> None:
        """A line of one point is a number's place, or nothing."""
        if place.layer != Layer.MARK or kind != MarkKind.NUMBER:
            self.skipped[f"{tag} of one point"] += 1
        elif np.isfinite(point).all():
            self.sketch.points.append(point)
            if words:
                self.sketch.texts.append(Text(point, words))

    def _text(self, element: Element, place: Place) -> None:
        words = "".join(element.itertext()).strip()
        holders = [element, *element]
        x, y = (
            number(next((own for item in holders if (own := item.get(name))), "0")) or 0.0
            for name in ("x", "y")
        )
        point = place.to_mm @ np.array([x, y, 1.0])
        size = plain_length(element.get("font-size", ""))
        scale = math.sqrt(abs(float(np.linalg.det(place.to_mm[:, :2]))))
        if not words or not np.isfinite(point).all():
            return
        text = Text(point, words)
        text = replace(text, height_mm=size * scale) if size else text
        if place.hidden:
            self.hidden.texts[place.hidden].append((place.layer, text))
        else:
            self.sketch.texts.append(text)
