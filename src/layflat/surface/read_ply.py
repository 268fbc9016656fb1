"""PLY: the vertices and polygonal faces of a binary or text file.

Every row that the header promises must be there, and nothing may follow the last one: a file
whose counts are wrong is damaged, even where its beginning could be read.
"""

from itertools import chain
from typing import Literal

import numpy as np

from layflat.base import FloatArray, IntArray, MeshError
from layflat.surface.lines import float_array, int_array, line_blocks
from layflat.surface.ply_header import Element, Header, Property, corner_list, ply_header
from layflat.surface.polygons import Polygons, require_count


def read_ply(data: bytes, *, where: str) -> tuple[Polygons, tuple[str, ...]]:
    """The faces of a PLY file, and a sentence on what was not read.

    Raises:
        MeshError: it is damaged, cut short, or has too many triangles.
    """
    header = ply_header(data, where=where)
    read = _read_binary if header.order else _read_text
    others = [e.name for e in header.elements if e.name not in ("vertex", "face") and e.rows]
    notes = (f"{where} also holds {', '.join(others)[:60]}; only faces were read.",)
    return read(data, header, where), notes if others else ()


def _counts(header: Header) -> str:
    return " and ".join(
        f"{element.rows:,} rows of “{element.name[:20]}”" for element in header.elements[:3]
    )


def _cut_short(header: Header, where: str) -> MeshError:
    return MeshError(f"{where} says it has {_counts(header)}, but is too short; it is cut short.")


def _more_follows(header: Header, where: str) -> MeshError:
    return MeshError(
        f"{where} says it has {_counts(header)}, but more follows them; its counts are wrong or "
        "it is damaged."
    )


# Binary rows.


def _read_binary(data: bytes, header: Header, where: str) -> Polygons:
    at = header.end
    vertices = np.empty((0, 3))
    corners = sizes = np.empty(0, np.int64)
    for element in header.elements:
        if element.rows * element.least_bytes > len(data) - at:
            raise _cut_short(header, where)
        if not any(p.length_type for p in element.properties):
            rows = np.frombuffer(data, _row_type(element, header.order, ()), element.rows, at)
            at += rows.nbytes
            if element.name == "vertex":
                vertices = _coordinates(rows, element)
            continue
        wanted = next(i for i, p in enumerate(element.properties) if p.length_type)
        if element.name == "face":
            wanted = corner_list(element, where)
        try:
            found, lengths, at = _binary_lists(data, at, element, header.order, wanted)
        except (IndexError, ValueError):
            raise _cut_short(header, where) from None
        if element.name == "face":
            corners, sizes = found, lengths
            require_count(int(np.maximum(sizes - 2, 0).sum()), where)
    if data[at:].strip(b"\r\n"):
        raise _more_follows(header, where)
    return Polygons(vertices, corners, sizes)


def _row_type(element: Element, order: str, lengths: tuple[int, ...]) -> np.dtype[np.void]:
    """The type of a row whose lists have the given lengths; values are named by their number."""
    fields: list[tuple[str, str] | tuple[str, str, tuple[int]]] = []
    left = list(lengths)
    for i, p in enumerate(element.properties):
        if p.length_type:
            fields.append((f"length{i}", order + p.length_type))
            fields.append((f"value{i}", order + p.type, (left.pop(0),)))
        else:
            fields.append((f"value{i}", order + p.type))
    return np.dtype(fields)


def _coordinates(rows: np.ndarray[tuple[int], np.dtype[np.void]], element: Element) -> FloatArray:
    names = [p.name for p in element.properties]
    # A signalling NaN in single precision warns when it is widened.
    with np.errstate(invalid="ignore"):
        return np.column_stack([rows[f"value{names.index(a)}"].astype(np.float64) for a in "xyz"])


def _binary_lists(
    data: bytes, at: int, element: Element, order: str, wanted: int
) -> tuple[IntArray, IntArray, int]:
    """The values of list number *wanted*, the lengths of all rows' lists, the byte after them.

    Raises:
        ValueError: the data end before the rows do, or a length is below 0.
        IndexError: likewise.
    """
    first = _walk(data, at, element, order, wanted, rows=1)
    lengths = first[3]
    row_type = _row_type(element, order, lengths)
    if element.rows * row_type.itemsize <= len(data) - at:
        rows = np.frombuffer(data, row_type, element.rows, at)
        lists = [i for i, p in enumerate(element.properties) if p.length_type]
        same = zip(lists, lengths, strict=True)
        if all(bool((rows[f"length{i}"] == length).all()) for i, length in same):
            found = rows[f"value{wanted}"].astype(np.int64).reshape(-1)
            size = lengths[lists.index(wanted)]
            return found, np.full(element.rows, size), at + rows.nbytes
    starts, sizes, at, _ = _walk(data, at, element, order, wanted, rows=element.rows)
    value = np.dtype(order + element.properties[wanted].type)
    ends = np.cumsum(sizes)
    offsets = np.repeat(starts - value.itemsize * (ends - sizes), sizes)
    offsets += value.itemsize * np.arange(len(offsets))
    buffer = np.frombuffer(data, np.uint8)
    taken = np.ascontiguousarray(buffer[offsets[:, None] + np.arange(value.itemsize)])
    return taken.view(value).reshape(-1).astype(np.int64), sizes, at


def _walk(
    data: bytes, at: int, element: Element, order: str, wanted: int, *, rows: int
) -> tuple[IntArray, IntArray, int, tuple[int, ...]]:
    """Step through rows of differing length.

    Returns:
        Where list *wanted* starts in each row, its lengths, the byte after the last row, and the
        lengths of all lists of the last row.
    """
    endian: Literal["big", "little"] = "big" if order == ">" else "little"
    steps = [_step(p) for p in element.properties]
    starts = np.empty(rows, np.int64)
    sizes = np.empty(rows, np.int64)
    lengths: list[int] = []
    for row in range(rows):
        lengths.clear()
        for i, (length_bytes, signed, value_bytes) in enumerate(steps):
            if not length_bytes:
                at += value_bytes
                continue
            head = data[at : at + length_bytes]
            length = int.from_bytes(head, endian, signed=signed)
            at += length_bytes
            if i == wanted:
                starts[row], sizes[row] = at, length
            if length < 0 or at + length * value_bytes > len(data):
                raise ValueError("a list is longer than the file")
            at += length * value_bytes
            lengths.append(length)
        if at > len(data):
            raise ValueError("a row is longer than the file")
    return starts, sizes, at, tuple(lengths)


def _step(p: Property) -> tuple[int, bool, int]:
    """The bytes of a list's length (0: no list), whether it is signed, the bytes of a value."""
    return int(p.length_type[1:] or 0), p.length_type.startswith("i"), int(p.type[1:])


# Rows of text: one line each.


def _read_text(data: bytes, header: Header, where: str) -> Polygons:
    points: list[FloatArray] = [np.empty(0)]
    corners: list[IntArray] = [np.empty(0, np.int64)]
    sizes: list[IntArray] = [np.empty(0, np.int64)]
    waiting = [(element, element.rows) for element in header.elements if element.rows]
    triangles = 0
    for number, block in line_blocks(data, where=where, start=header.end):
        lines = list(filter(None, block))
        while lines:
            if not waiting:
                raise _more_follows(header, where)
            element, left = waiting.pop(0)
            mine, lines = lines[:left], lines[left:]
            if left > len(mine):
                waiting.insert(0, (element, left - len(mine)))
            try:
                if element.name == "vertex":
                    points.append(_text_vertices(mine, element))
                elif element.name == "face":
                    ids, lengths = _text_faces(mine, element, corner_list(element, where))
                    corners.append(ids)
                    sizes.append(lengths)
                    triangles += int(np.maximum(lengths - 2, 0).sum())
            except (ValueError, IndexError):
                if waiting == [] and len(mine) == left and _last_is_short(mine):
                    raise _cut_short(header, where) from None
                raise MeshError(
                    f"{where} has no readable row of “{element.name}” in one of the lines from "
                    f"{number + header.lines:,} on; its counts are wrong or it is damaged."
                ) from None
            require_count(triangles, where)
    if waiting:
        raise _cut_short(header, where)
    return Polygons(
        np.concatenate(points).reshape(-1, 3), np.concatenate(corners), np.concatenate(sizes)
    )


def _last_is_short(lines: list[bytes]) -> bool:
    """Whether the last row of the file has fewer words than the one before it."""
    return len(lines) > 1 and len(lines[-1].split()) < len(lines[-2].split())


def _text_vertices(lines: list[bytes], element: Element) -> FloatArray:
    rows = [line.split() for line in lines]
    names = [p.name for p in element.properties]
    if any(len(row) != len(names) for row in rows):
        raise ValueError("wrong number of values")
    x, y, z = (names.index(axis) for axis in "xyz")
    return float_array(list(chain.from_iterable((row[x], row[y], row[z]) for row in rows)))


def _text_faces(lines: list[bytes], element: Element, wanted: int) -> tuple[IntArray, IntArray]:
    if len(element.properties) == 1 and {line[:2] for line in lines} == {b"3 "}:
        words = b" ".join(lines).split()
        if len(words) == 4 * len(lines) and set(words[::4]) == {b"3"}:
            del words[::4]
            return int_array(words), np.full(len(lines), 3)
    rows = [line.split() for line in lines]
    lists = [i for i, p in enumerate(element.properties) if p.length_type]
    if lists == [wanted]:
        sizes = int_array([row[wanted] for row in rows])
        spans = np.fromiter(map(len, rows), np.int64, len(rows))
        if (sizes < 0).any() or (spans != sizes + len(element.properties)).any():
            raise ValueError("wrong number of values")
        tail = len(element.properties) - 1 - wanted
        lists_of_words = [row[wanted + 1 : len(row) - tail] for row in rows]
        return int_array(list(chain.from_iterable(lists_of_words))), sizes
    walked = [_walk_text(row, element, wanted) for row in rows]
    sizes = np.fromiter(map(len, walked), np.int64, len(walked))
    return int_array(list(chain.from_iterable(walked))), sizes


def _walk_text(row: list[bytes], element: Element, wanted: int) -> list[bytes]:
    at = 0
    found: list[bytes] = []
    for i, p in enumerate(element.properties):
        length = int(row[at]) if p.length_type else 1
        at += 1 if p.length_type else 0
        if length < 0 or at + length > len(row):
            raise ValueError("wrong number of values")
        if i == wanted:
            found = row[at : at + length]
        at += length
    if at != len(row):
        raise ValueError("wrong number of values")
    return found
