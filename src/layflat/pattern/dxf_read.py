"""Drawings in from DXF, within bounds, every entity judged and nothing dropped in silence."""

import math
import struct
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from ezdxf.document import Drawing as Document
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.filemanagement import readfile
from ezdxf.lldxf.const import DXFError

from layflat.base import DrawingError, FloatArray, read_bytes
from layflat.pattern.drawing import Layer, Text
from layflat.pattern.dxf_write import APP_NAME
from layflat.pattern.loops import Stroke
from layflat.pattern.piece import MarkKind
from layflat.pattern.sketch import Sketch
from layflat.pattern.units import UNITS_MM

_MOST_BYTES = 40_000_000
_MOST_ENTITIES = 200_000
_MOST_UNFOLDED = 50_000
"""Entities out of blocks: each costs many times what one costs that stands in the file."""

_MOST_POINTS = 2_000_000
_MOST_SPLINE_NUMBERS = 30_000
_MOST_SPLINE_DEGREE = 20
_MOST_DEPTH = 8
_MM_PER_UNIT = {
    1: 25.4,
    2: 304.8,
    3: 1_609_344.0,
    4: 1.0,
    5: 10.0,
    6: 1000.0,
    7: 1e6,
    8: 25.4e-6,
    9: 25.4e-3,
    10: 914.4,
    13: 1e-3,
    14: 100.0,
    15: 1e4,
    16: 1e5,
}
"""Millimetres per unit by DXF's number in $INSUNITS."""

_BINARY = b"AutoCAD Binary DXF"
_BINARY_RECORD = b"\0\0\0"
"""A string's end and the two bytes of group code 0."""

_BAD_FILE = (
    DXFError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError,
    AssertionError, StopIteration, EOFError, struct.error,
)  # fmt: skip
"""What the library lets through when a file is damaged."""


def read_dxf(path: Path, *, unit: str | None, deviation_mm: float) -> Sketch:
    """What the model space of the DXF file at *path* holds.

    Args:
        path: the file.
        unit: the unit of a file that names none; None means mm, with a note.
        deviation_mm: how far the chords that stand for splines and ellipses may lie from them.

    Raises:
        DrawingError: the file is no DXF, is damaged, too large, or holds an entity that
            cannot be a flat line.
        InputError: the file cannot be read.
    """
    _refuse_many(read_bytes(path, max_bytes=_MOST_BYTES), where=path.name)
    try:
        document = readfile(path)
        auditor = document.audit()
    except OSError as error:
        raise DrawingError(f"{path.name} is not a DXF file: {error}.") from error
    except _BAD_FILE as error:
        raise _damaged(path, error) from error
    reader = _Reader(where=path.name, deviation_mm=deviation_mm)
    reader.factor = _factor(document, unit, reader.sketch.notes)
    if auditor.fixes:
        reader.sketch.notes.append(f"{len(auditor.fixes)} fault(s) of the file were mended.")
    try:
        reader.read(document.modelspace(), layer=None, depth=0)
    except DrawingError:
        raise
    except _BAD_FILE as error:
        raise _damaged(path, error) from error
    reader.finish()
    return reader.sketch


def _damaged(path: Path, error: Exception) -> DrawingError:
    words = str(error).rstrip(".")
    return DrawingError(f"{path.name} is damaged and cannot be read as DXF: {words}.")


def _refuse_many(data: bytes, *, where: str) -> None:
    """Count the records of a file before the library takes it in, which it does slowly."""
    if data.startswith(_BINARY):
        count = data.count(_BINARY_RECORD)
    else:
        # Lines come in pairs, a group code and a value; every record begins with code 0.
        count = sum(1 for code in data.splitlines()[::2] if code.strip() == b"0")
    if count > _MOST_ENTITIES:
        raise DrawingError(f"{where} holds {count} records; at most {_MOST_ENTITIES} are read.")


def _factor(document: Document, unit: str | None, notes: list[str]) -> float:
    """Millimetres per drawing unit; what was assumed is noted."""
    number = int(document.header.get("$INSUNITS", 0))
    if number in _MM_PER_UNIT:
        if unit is not None and UNITS_MM[unit] != _MM_PER_UNIT[number]:
            notes.append(f"The file names its own unit; the unit “{unit}” was not used.")
        return _MM_PER_UNIT[number]
    if number != 0:
        raise DrawingError(f"The drawing's unit ($INSUNITS {number}) is none for a piece of film.")
    if unit is None:
        notes.append("The file names no unit; its numbers were taken for millimetres.")
        return 1.0
    return UNITS_MM[unit]


@dataclass
class _Reader:
    """Walks through entities and collects strokes, words and points."""

    where: str
    deviation_mm: float
    factor: float = 1.0
    sketch: Sketch = field(default_factory=Sketch)
    skipped: Counter[str] = field(default_factory=Counter)
    flattened: Counter[str] = field(default_factory=Counter)
    unfolded: int = 0
    points: int = 0
    heights: int = 0

    def read(self, entities: Iterable[DXFEntity], *, layer: str | None, depth: int) -> None:
        """Take in the entities; those of a block on layer 0 take the layer of its insertion."""
        for entity in entities:
            self.unfolded += depth > 0
            if self.unfolded > _MOST_UNFOLDED:
                raise DrawingError(
                    f"{self.where}: its blocks unfold to more than {_MOST_UNFOLDED} entities; "
                    "draw its pieces without blocks."
                )
            own = str(entity.dxf.get("layer", "0"))
            self._one(entity, layer if layer and own == "0" else own, depth)

    def finish(self) -> None:
        """Note what was left out, flattened or projected."""
        notes = self.sketch.notes
        if self.skipped:
            kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(self.skipped.items()))
            notes.append(f"Not read, since they are no lines, arcs or texts: {kinds}.")
        if self.flattened:
            kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(self.flattened.items()))
            notes.append(f"{kinds} became chords within {self.deviation_mm:g} mm.")
        if self.heights:
            notes.append(f"Heights (z) of {self.heights} entities were dropped.")

    def _one(self, entity: DXFEntity, layer: str, depth: int) -> None:
        kind = entity.dxftype()
        source = f"{kind} {entity.dxf.get('handle') or 'in a block'}"
        if kind == "INSERT":
            self._insert(entity, layer, depth, source)
        elif kind in ("TEXT", "MTEXT", "ATTRIB"):
            self._text(entity)
        elif kind == "POINT" and layer.upper() == Layer.MARK:
            x, y, _ = entity.dxf.location
            self.sketch.points.append(np.array([x, y]) * self.factor)
        elif kind in _DRAWERS:
            for points, bulges, closed in _DRAWERS[kind](self, entity, source):
                self._stroke(entity, layer, points, bulges, closed, source)
        else:
            self.skipped[kind] += 1

    def _insert(self, entity: Any, layer: str, depth: int, source: str) -> None:
        if depth >= _MOST_DEPTH:
            raise DrawingError(f"{self.where}: {source} nests blocks deeper than {_MOST_DEPTH}.")
        if entity.mcount > _MOST_UNFOLDED:
            raise DrawingError(f"{self.where}: {source} repeats its block {entity.mcount} times.")
        for one in entity.multi_insert() if entity.mcount > 1 else (entity,):
            self.read(one.virtual_entities(), layer=layer, depth=depth + 1)
        self.read(entity.attribs, layer=layer, depth=depth + 1)

    def _text(self, entity: Any) -> None:
        if entity.dxftype() == "MTEXT":
            words, point = entity.plain_text(), entity.dxf.insert
            height = entity.dxf.get("char_height", 2.5)
        else:
            words = entity.plain_text()
            _, first, second = entity.get_placement()
            point = first if second is None else (first + second) / 2
            height = entity.dxf.get("height", 2.5)
        place = np.array([point[0], point[1]]) * self.factor
        if words.strip() and np.isfinite(place).all():
            self.sketch.texts.append(Text(place, words, float(height) * self.factor))

    def _stroke(
        self,
        entity: Any,
        layer: str,
        points: FloatArray,
        bulges: FloatArray,
        closed: bool,
        source: str,
    ) -> None:
        points = np.asarray(points, dtype=np.float64)
        self.points += len(points)
        if self.points > _MOST_POINTS:
            raise DrawingError(f"{self.where} holds more than {_MOST_POINTS} points.")
        if len(points) < 2:
            self.skipped[f"{entity.dxftype()} of one point"] += 1
            return
        if points.shape[1] > 2 and np.abs(points[:, 2]).max() > 0:
            self.heights += 1
        kind, label = MarkKind.ALIGN, ""
        if entity.has_xdata(APP_NAME):
            value = str(entity.get_xdata(APP_NAME)[0].value)
            if layer.upper() != Layer.MARK:
                label = value
            elif value in set(MarkKind):
                kind = MarkKind(value)
        flat = points[:, :2] * self.factor
        self.sketch.add(layer, Stroke(flat, np.asarray(bulges), closed, source, kind, label))

    def line(self, entity: Any, _source: str) -> Iterable[Any]:
        """A LINE, in world coordinates."""
        yield np.array([entity.dxf.start, entity.dxf.end]), np.zeros(1), False

    def arc(self, entity: Any, source: str) -> Iterable[Any]:
        """An ARC or a CIRCLE; an arc of more than a half circle comes in two halves."""
        whole = entity.dxftype() == "CIRCLE"
        start = 0.0 if whole else math.radians(entity.dxf.start_angle)
        sweep = 2.0 * math.pi
        if not whole:
            sweep = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0) or sweep
        closed = whole or sweep >= 2.0 * math.pi
        count = 2 if sweep > math.pi else 1
        angles = start + sweep * np.arange(count if closed else count + 1) / count
        x, y, z = entity.dxf.center
        radius = float(entity.dxf.radius)
        points = np.column_stack(
            (x + radius * np.cos(angles), y + radius * np.sin(angles), np.full(len(angles), z))
        )
        bulges = np.full(count, math.tan(sweep / count / 4.0))
        yield *self._to_world(entity, points, bulges, source), closed

    def lwpolyline(self, entity: Any, source: str) -> Iterable[Any]:
        """An LWPOLYLINE with its bulges."""
        rows = np.array(entity.get_points("xyb"), dtype=np.float64).reshape(-1, 3)
        points = np.column_stack((rows[:, :2], np.full(len(rows), entity.dxf.elevation)))
        bulges = rows[:, 2] if entity.closed else rows[:-1, 2]
        yield *self._to_world(entity, points, bulges, source), bool(entity.closed)

    def polyline(self, entity: Any, source: str) -> Iterable[Any]:
        """A POLYLINE, in the plane or in space; a mesh is no line."""
        if not (entity.is_2d_polyline or entity.is_3d_polyline):
            raise DrawingError(f"{self.where}: {source} is a mesh, not a line.")
        frame = 16
        vertices = [v for v in entity.vertices if not v.dxf.flags & frame]
        points = np.array([v.dxf.location for v in vertices], dtype=np.float64).reshape(-1, 3)
        bulges = np.array([v.dxf.get("bulge", 0.0) for v in vertices], dtype=np.float64)
        closed = bool(entity.is_closed)
        bulges = bulges if closed else bulges[:-1]
        if entity.is_3d_polyline:
            yield points, np.zeros_like(bulges), closed
        else:
            yield *self._to_world(entity, points, bulges, source), closed

    def free_form(self, entity: Any, source: str) -> Iterable[Any]:
        """A SPLINE or an ELLIPSE as chords."""
        for name in ("center", "major_axis", "ratio"):
            if entity.dxf.hasattr(name) and not np.isfinite(entity.dxf.get(name)).all():
                raise DrawingError(f"{self.where}: {source} holds a number that is not finite.")
        if entity.dxftype() == "SPLINE":
            numbers = np.concatenate(
                [
                    np.ravel(np.array(part, dtype=np.float64))
                    for part in (
                        entity.control_points,
                        entity.knots,
                        entity.weights,
                        entity.fit_points,
                    )
                ]
            )
            sizes = len(numbers) > _MOST_SPLINE_NUMBERS or entity.dxf.degree > _MOST_SPLINE_DEGREE
            if sizes or not np.isfinite(numbers).all():
                raise DrawingError(f"{self.where}: {source} is too large or not finite.")
        points = np.array([tuple(p) for p in entity.flattening(self.deviation_mm / self.factor)])
        self.flattened[entity.dxftype()] += 1
        closed = len(points) > 3 and bool(
            np.linalg.norm(points[0] - points[-1]) * self.factor < 1e-6
        )
        points = points[:-1] if closed else points
        yield points, np.zeros(len(points) - (0 if closed else 1)), closed

    def _to_world(
        self, entity: Any, points: FloatArray, bulges: FloatArray, source: str
    ) -> tuple[FloatArray, FloatArray]:
        """From the entity's own plane to the drawing's; a plane seen from below mirrors it."""
        normal = np.array(entity.dxf.get("extrusion", (0.0, 0.0, 1.0)), dtype=np.float64)
        if abs(normal[0]) > 1e-9 or abs(normal[1]) > 1e-9 or normal[2] == 0.0:
            raise DrawingError(f"{self.where}: {source} does not lie in the plane of the drawing.")
        if normal[2] > 0:
            return points, bulges
        return points * np.array([-1.0, 1.0, -1.0]), -bulges


_DRAWERS = {
    "LINE": _Reader.line,
    "ARC": _Reader.arc,
    "CIRCLE": _Reader.arc,
    "LWPOLYLINE": _Reader.lwpolyline,
    "POLYLINE": _Reader.polyline,
    "ELLIPSE": _Reader.free_form,
    "SPLINE": _Reader.free_form,
}
