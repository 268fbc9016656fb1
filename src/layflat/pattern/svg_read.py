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

from layflat.base import DrawingError, read_bytes
from layflat.pattern.drawing import Layer, Text
from layflat.pattern.loops import Stroke
from layflat.pattern.piece import MarkKind
from layflat.pattern.sketch import Sketch
from layflat.pattern.svg_path import Affine, count_numbers, shape_path, strokes_of_path, to_affine
from layflat.pattern.svg_units import mm_per_unit, number, plain_length

_MOST_BYTES = 20_000_000
_MOST_ELEMENTS = 200_000
_MOST_POINTS = 2_000_000
_MOST_NUMBERS = 400_000
"""Of all path data and points together; the library reads some ten thousand in a second."""

_MOST_DEPTH = 32
_SVG = "{http://www.w3.org/2000/svg}"
_LOOSE = "NO GROUP"
_GROUPS = {"g", "a", "switch"}
_SHAPES = {"path", "polyline", "polygon", "line", "rect", "circle", "ellipse"}
_NEVER_DRAWN = {
    "clipPath", "defs", "desc", "filter", "linearGradient", "marker", "mask", "metadata", "pattern",
    "radialGradient", "script", "symbol", "title", "view",
}  # fmt: skip
_DAMAGED = (ValueError, LookupError, TypeError, AttributeError, ArithmeticError)


def read_svg(path: Path, *, unit: str | None, deviation_mm: float) -> Sketch:
    """What the SVG file at *path* draws.

    Args:
        path: the file.
        unit: the unit of a file that states no physical size; None means CSS pixels of 1/96
            inch, with a note.
        deviation_mm: how far the chords that stand for free curves may lie from them.

    Raises:
        DrawingError: the file is no SVG, is damaged, too large, or holds clones or entities.
        InputError: the file cannot be read.
    """
    root = _guarded(read_bytes(path, max_bytes=_MOST_BYTES), where=path.name)
    reader = _Reader(where=path.name, deviation_mm=deviation_mm)
    scale = mm_per_unit(root, unit=unit, where=path.name, notes=reader.sketch.notes)
    to_mm = np.array([[scale, 0.0, 0.0], [0.0, -scale, 0.0]])
    reader.children(root, _Place(to_mm, _LOOSE))
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
    if root is None or _tag(root) != "svg":
        raise DrawingError(f"{where} is not an SVG drawing.")
    return root


def _tag(element: Element) -> str:
    """The element's name; in quotes with its namespace if it is not SVG's."""
    tag = str(element.tag)
    if tag.startswith("{") and not tag.startswith(_SVG):
        return f"“{tag}”"
    return tag.removeprefix(_SVG)


@dataclass(frozen=True, eq=False)
class _Place:
    """What the groups around an element hand down to it.

    Attributes:
        to_mm: from its coordinates to the drawing's.
        layer: the layer.
    """

    to_mm: Affine
    layer: str


@dataclass
class _Reader:
    """Walks through the groups and collects strokes, words and points."""

    where: str
    deviation_mm: float
    sketch: Sketch = field(default_factory=Sketch)
    skipped: Counter[str] = field(default_factory=Counter)
    seen: Counter[str] = field(default_factory=Counter)
    flattened: int = 0
    points: int = 0
    numbers: int = 0

    def children(self, group: Element, place: _Place) -> None:
        """Take in what a group holds."""
        for element in group:
            tag = _tag(element)
            if tag.startswith("“") or tag in _NEVER_DRAWN:
                continue
            if tag == "style":
                self.skipped["style sheet"] += 1
            elif _hidden(element):
                self.skipped["hidden " + tag] += 1
            elif tag == "use":
                raise DrawingError(
                    f"{self.where} holds clones (<use>); turn them into lines of their own."
                )
            elif tag in _GROUPS:
                self.children(element, self._inside(element, place, tag))
            elif tag == "text":
                self._text(element, self._inside(element, place, tag))
            elif tag in _SHAPES:
                self._shape(element, self._inside(element, place, tag), tag)
            else:
                self.skipped[tag] += 1

    def finish(self) -> None:
        """Note what was left out or flattened."""
        if self.skipped:
            kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(self.skipped.items()))
            self.sketch.notes.append(
                f"Not read, since they are no visible lines or texts: {kinds}."
            )
        if self.flattened:
            self.sketch.notes.append(
                f"{self.flattened} free curve(s) became chords within {self.deviation_mm:g} mm."
            )

    def _inside(self, element: Element, place: _Place, tag: str) -> _Place:
        """The place inside an element, with its own layer and transformation."""
        own = element.get("id", "")
        layer = place.layer
        if own.upper() in set(Layer) or (tag in _GROUPS and own and layer not in set(Layer)):
            layer = own.upper()
        if "transform" in element.get("style", ""):
            raise DrawingError(
                f"{self.where}: a {tag} is moved by its style; apply the transformation first."
            )
        words = element.get("transform", "").strip()
        if not words:
            return replace(place, layer=layer)
        moved = to_affine(words, where=f"{self.where}: the {tag} “{own}”")
        linear = place.to_mm[:, :2] @ moved
        linear[:, 2] += place.to_mm[:, 2]
        return _Place(linear, layer)

    def _shape(self, element: Element, place: _Place, tag: str) -> None:
        self.seen[tag] += 1
        own = element.get("id")
        source = f"{tag} “{own}”" if own else f"{tag} {self.seen[tag]}"
        where = f"{self.where}: the {source}"
        self.numbers += count_numbers(element.attrib)
        if self.numbers > _MOST_NUMBERS:
            raise DrawingError(
                f"{self.where} holds more than {_MOST_NUMBERS} numbers in its paths; draw it with "
                "fewer points."
            )
        try:
            path = shape_path(tag, element.attrib, where=where)
            lines = strokes_of_path(path, place.to_mm, deviation_mm=self.deviation_mm)
        except DrawingError:
            raise
        except _DAMAGED as error:
            raise DrawingError(f"{where} is damaged and cannot be read.") from error
        kind = element.get("data-kind", "")
        for line in lines:
            self.points += len(line.points_mm)
            self.flattened += line.free_curves
            if self.points > _MOST_POINTS:
                raise DrawingError(f"{self.where} holds more than {_MOST_POINTS} points.")
            if len(line.points_mm) < 2:
                self._point(line.points_mm[0], kind, element.get("data-text", ""), tag, place)
                continue
            label = element.get("data-text" if place.layer == Layer.MARK else "data-piece", "")
            self.sketch.add(
                place.layer,
                Stroke(
                    line.points_mm,
                    line.bulges,
                    line.closed,
                    source,
                    MarkKind(kind) if kind in set(MarkKind) else MarkKind.ALIGN,
                    label,
                ),
            )

    def _point(self, point: np.ndarray, kind: str, words: str, tag: str, place: _Place) -> None:
        """A line of one point is a number's place, or nothing."""
        if place.layer != Layer.MARK or kind != MarkKind.NUMBER:
            self.skipped[f"{tag} of one point"] += 1
        elif np.isfinite(point).all():
            self.sketch.points.append(point)
            if words:
                self.sketch.texts.append(Text(point, words))

    def _text(self, element: Element, place: _Place) -> None:
        words = "".join(element.itertext()).strip()
        holders = [element, *element]
        x, y = (
            number(next((own for item in holders if (own := item.get(name))), "0")) or 0.0
            for name in ("x", "y")
        )
        point = place.to_mm @ np.array([x, y, 1.0])
        size = plain_length(element.get("font-size", ""))
        scale = math.sqrt(abs(float(np.linalg.det(place.to_mm[:, :2]))))
        if words and np.isfinite(point).all():
            text = Text(point, words)
            self.sketch.texts.append(replace(text, height_mm=size * scale) if size else text)


def _hidden(element: Element) -> bool:
    """Whether the element itself says that it is not shown."""
    style = element.get("style", "").replace(" ", "")
    return (
        element.get("display") == "none"
        or element.get("visibility") in ("hidden", "collapse")
        or re.search(r"(^|;)(display:none|visibility:(hidden|collapse))", style) is not None
    )
