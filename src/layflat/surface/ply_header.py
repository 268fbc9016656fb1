"""The header of a PLY file: which elements follow, how many, and of what they are made."""

import re
from dataclasses import dataclass

from layflat.base import MeshError
from layflat.surface.polygons import MAX_TRIANGLES, MAX_VERTICES, require_count

HEADER_MOST = 100_000
"""A header with more bytes is none."""

TYPES = {
    "char": "i1", "uchar": "u1", "int8": "i1", "uint8": "u1",
    "short": "i2", "ushort": "u2", "int16": "i2", "uint16": "u2",
    "int": "i4", "uint": "u4", "int32": "i4", "uint32": "u4", "int64": "i8", "uint64": "u8",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip

_ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_FACE_LISTS = ("vertex_indices", "vertex_index")


@dataclass(frozen=True)
class Property:
    """One value of each row, or a list of values with its own length.

    Attributes:
        name: what it is called.
        type: the numpy type of its values, without byte order.
        length_type: that of a list's length; "" for a single value.
    """

    name: str
    type: str
    length_type: str = ""


@dataclass(frozen=True)
class Element:
    """A table: how many rows it has, and what is in each."""

    name: str
    rows: int
    properties: tuple[Property, ...]

    @property
    def least_bytes(self) -> int:
        """The least length of a binary row: all lists are empty."""
        return sum(int((p.length_type or p.type)[1:]) for p in self.properties)


@dataclass(frozen=True)
class Header:
    """What a PLY file says that it holds.

    Attributes:
        order: "<" or ">" for binary rows, "" for text.
        elements: in the file's order; "vertex" and "face" are among them.
        end: the first byte after the header.
        lines: how many lines the header has.
    """

    order: str
    elements: tuple[Element, ...]
    end: int
    lines: int


def ply_header(data: bytes, *, where: str) -> Header:
    """Read the header.

    Raises:
        MeshError: it does not end, a line of it is wrong, or it says that there are no vertices
            or faces, or too many.
    """
    found = re.search(rb"(?:\n|\r)end_header[ \t]*(\r\n|\n|\r)", data[:HEADER_MOST])
    if not found:
        raise MeshError(
            f"{where} is a PLY file without the end of its header in the first {HEADER_MOST:,} "
            "bytes; it is cut short or damaged."
        )
    lines = data[: found.start()].decode("ascii", "replace").splitlines()
    order: str | None = None
    tables: list[tuple[str, int, list[Property]]] = []
    for number, line in enumerate(lines[1:], 2):
        words = line.split()
        if not words or words[0] in ("comment", "obj_info"):
            continue
        if words[0] == "format" and len(words) == 3 and words[1] in _ORDERS and order is None:
            order = _ORDERS[words[1]]
        elif words[0] == "element" and len(words) == 3 and re.fullmatch(r"[0-9]{1,12}", words[2]):
            tables.append((words[1], int(words[2]), []))
        elif words[0] == "property" and tables and (made := _property(words[1:])):
            tables[-1][2].append(made)
        else:
            raise MeshError(
                f"{where} is a PLY file whose header is wrong in line {number}; it is damaged."
            )
    if order is None:
        raise MeshError(f"{where} is a PLY file that does not say its format; it is damaged.")
    elements = tuple(Element(name, rows, tuple(properties)) for name, rows, properties in tables)
    _require_elements(elements, where)
    return Header(order, elements, found.end(), len(lines) + 1)


def _property(words: list[str]) -> Property | None:
    if len(words) == 2 and words[0] in TYPES:
        return Property(words[1], TYPES[words[0]])
    if len(words) == 4 and words[0] == "list" and words[1] in TYPES and words[2] in TYPES:
        length = TYPES[words[1]]
        return Property(words[3], TYPES[words[2]], length) if length[0] != "f" else None
    return None


def _require_elements(elements: tuple[Element, ...], where: str) -> None:
    names = [element.name for element in elements]
    if len(set(names)) < len(names):
        raise MeshError(f"{where} is a PLY file that names an element twice; it is damaged.")
    by_name = dict(zip(names, elements, strict=True))
    vertex, face = by_name.get("vertex"), by_name.get("face")
    if vertex is None or face is None or not vertex.rows or not face.rows:
        raise MeshError(f"{where} has no triangles.")
    require_count(face.rows, where)
    if max(element.rows for element in elements) > MAX_VERTICES:
        most = max(elements, key=lambda element: element.rows)
        raise MeshError(
            f"{where} says it has {most.rows:,} rows of “{most.name[:20]}”; at most "
            f"{MAX_VERTICES:,} are read."
        )
    given = [p.name for p in vertex.properties]
    if any(p.length_type for p in vertex.properties) or any(given.count(a) != 1 for a in "xyz"):
        raise MeshError(f"{where} is a PLY file whose vertices are not x, y and z; it is damaged.")
    corner_list(face, where)
    if any(not element.properties for element in elements):
        raise MeshError(f"{where} is a PLY file with an element without properties; it is damaged.")
    if sum(e.rows for e in elements if any(p.length_type for p in e.properties)) > MAX_TRIANGLES:
        raise MeshError(f"{where} has more than {MAX_TRIANGLES:,} rows with lists in them.")


def corner_list(face: Element, where: str) -> int:
    """Which of the face's properties is the list of its corners.

    Raises:
        MeshError: none is, or several are.
    """
    found = [
        i
        for i, p in enumerate(face.properties)
        if p.name in _FACE_LISTS and p.length_type and p.type[0] != "f"
    ]
    if len(found) != 1:
        raise MeshError(f"{where} is a PLY file whose faces list no vertices; it is damaged.")
    return found[0]
