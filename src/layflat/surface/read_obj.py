"""OBJ: the vertices and polygonal faces of a text file (Wavefront's format, version 3.0)."""

import re
from collections import Counter
from itertools import chain

import numpy as np

from layflat.base import FloatArray, IntArray, MeshError
from layflat.surface.lines import float_array, int_array, line_blocks
from layflat.surface.polygons import MAX_TRIANGLES, MAX_VERTICES, Polygons, require_count

_VERTEX, _FACE = (b"v ", b"v"), (b"f ", b"f")
"""How their lines begin."""

_WITHOUT_SHAPE = frozenset(
    b"vt vn vp g s mg o usemtl usemap mtllib maplib lod bevel c_interp d_interp shadow_obj "
    b"trace_obj".split()
)
"""Statements that say nothing on where a surface is."""

_NOT_READ = frozenset(
    b"p l cstype deg bmat step curv curv2 surf parm trim hole scrv sp end con ctech stech call "
    b"csh".split()
)
"""Points, lines, free-form curves and surfaces."""


_AFTER_SLASH = re.compile(rb"/\S*")
"""A corner's texture coordinate and normal."""


def read_obj(data: bytes, *, where: str) -> tuple[Polygons, tuple[str, ...]]:
    """The faces of an OBJ file, and sentences on what was not read.

    Raises:
        MeshError: a line is no OBJ, or there are too many.
    """
    # A backslash joins a line with the next; blanks keep the count of bytes, not of lines.
    if b"\\" in data:
        for end in (b"\\\r\n", b"\\\n", b"\\\r"):
            data = data.replace(end, b" ")
    data = data.replace(b"\t", b" ")
    points: list[FloatArray] = [np.empty(0)]
    corners: list[IntArray] = [np.empty(0, np.int64)]
    sizes: list[IntArray] = [np.empty(0, np.int64)]
    others: Counter[bytes] = Counter()
    triangles = vertices = 0
    for number, lines in line_blocks(data, where=where):
        of_v = [line for line in lines if line[:2] in _VERTEX]
        of_f = [line for line in lines if line[:2] in _FACE]
        others.update(_other_kinds(lines, number, where))
        try:
            points.append(_vertices(of_v))
            ids, counts = _faces(of_f)
        except ValueError:
            raise _wrong_line(lines, number, where) from None
        triangles += int(np.maximum(counts - 2, 0).sum())
        vertices += len(of_v)
        require_count(triangles, where)
        if vertices > MAX_VERTICES or sum(map(len, sizes)) > MAX_TRIANGLES:
            raise MeshError(f"{where} has more than {MAX_VERTICES:,} vertices or faces.")
        corners.append(ids - 1)
        sizes.append(counts)
    notes: list[str] = []
    if others[b"o"] > 1:
        notes.append(f"{where} holds {others[b'o']:,} objects; they were taken together.")
    unread = sum(count for kind, count in others.items() if kind in _NOT_READ)
    if unread:
        notes.append(
            f"{where} has {unread:,} lines on points, lines, curves or free-form surfaces; "
            "only flat faces were read."
        )
    polygons = Polygons(
        np.concatenate(points).reshape(-1, 3), np.concatenate(corners), np.concatenate(sizes)
    )
    idle = vertices - len(np.unique(polygons.corners))
    if idle > 0 and triangles:
        # The only trace of an OBJ that was cut short between two lines.
        notes.append(
            f"{where} has {idle:,} vertices that no face uses; if they should be part of the "
            "surface, the file is cut short."
        )
    return polygons, tuple(notes)


def _vertices(lines: list[bytes]) -> FloatArray:
    """Three coordinates of each line; a weight or a colour may follow them."""
    words = b" ".join(lines).split()
    if len(words) == 4 * len(lines) and set(words[::4]) <= {b"v"}:
        del words[::4]
        return float_array(words)
    rows = [line.split() for line in lines]
    if not {len(row) for row in rows} <= {4, 5, 7, 8}:
        raise ValueError("wrong number of coordinates")
    return float_array(list(chain.from_iterable(row[1:4] for row in rows)))


def _faces(lines: list[bytes]) -> tuple[IntArray, IntArray]:
    """The vertex numbers of all lines, counted from 1, and how many each line has."""
    text = b" ".join(lines)
    if b"/" in text:
        text = _AFTER_SLASH.sub(b"", text)
    words = text.split()
    if len(words) == 4 * len(lines) and set(words[::4]) <= {b"f"}:
        del words[::4]
        sizes = np.full(len(lines), 3)
    else:
        sizes = np.fromiter((len(line.split()) - 1 for line in lines), np.int64, len(lines))
        words = [word for word in words if word != b"f"]
    ids = int_array(words)
    if len(ids) != int(sizes.sum()) or (len(ids) and int(ids.min()) < 1):
        raise ValueError("not one number from 1 on for each corner")
    return ids, sizes


def _other_kinds(lines: list[bytes], number: int, where: str) -> Counter[bytes]:
    """How many lines begin with each word but v and f."""
    kinds = Counter(
        line.split(None, 1)[0]
        for line in lines
        if line and line[:2] not in _VERTEX + _FACE and line[:1] != b"#"
    )
    for kind in kinds:
        if kind not in _WITHOUT_SHAPE and kind not in _NOT_READ:
            at = next(i for i, line in enumerate(lines) if line.split(None, 1)[:1] == [kind])
            word = kind[:20].decode("ascii", "replace")
            raise MeshError(
                f"{where} has a line ({number + at:,}) that begins with {word!a}, which no OBJ "
                "statement does; it is damaged."
            )
    return kinds


def _wrong_line(lines: list[bytes], number: int, where: str) -> MeshError:
    """What is wrong with the first wrong line of a block."""
    for at, line in enumerate(lines, number):
        try:
            if line[:2] in _VERTEX:
                _vertices([line])
            elif line[:2] in _FACE:
                _faces([line])
        except ValueError:
            words = [word.partition(b"/")[0] for word in line.split()[1:]]
            if line.startswith(b"f") and all(w.lstrip(b"-").isdigit() for w in words):
                return MeshError(
                    f"{where} names a vertex by a number below 1 in line {at:,}; only numbers "
                    "counted from the first vertex, which is 1, are read."
                )
            what = "vertex" if line.startswith(b"v") else "face"
            return MeshError(f"{where} has no readable {what} in line {at:,}; it is damaged.")
    raise AssertionError("one of the lines is wrong")
