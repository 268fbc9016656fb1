"""What kind of mesh file some bytes are, and how many triangles they claim, before parsing.

A compiled reader that is handed a false count may ask for any amount of memory, so each
format's own counts are read here first and held against the size of the file.
"""

import json
import re
import struct
from dataclasses import dataclass

from layflat.base import MeshError

MAX_TRIANGLES = 5_000_000
MAX_BYTES = 1_500_000_000

_STL_HEADER = 84
_STL_TRIANGLE = 50
_OBJ_INDEX = re.compile(rb"^f[^\n]*[ \t](?:-|0+[/\s])", re.MULTILINE)
_PLY_HEADER_MOST = 100_000
_PLY_SIZES = {
    "char": 1, "uchar": 1, "int8": 1, "uint8": 1,
    "short": 2, "ushort": 2, "int16": 2, "uint16": 2,
    "int": 4, "uint": 4, "int32": 4, "uint32": 4, "float": 4, "float32": 4,
    "double": 8, "float64": 8,
}  # fmt: skip


@dataclass(frozen=True)
class Sniffed:
    """What a file is.

    Attributes:
        kind: "ply", "stl", "obj" or "glb".
        triangles: how many faces the file says it has; for OBJ its face lines, counted.
        vertices: likewise; -1 where the format does not say.
    """

    kind: str
    triangles: int
    vertices: int


def sniff(data: bytes, *, where: str) -> Sniffed:
    """Find the kind of mesh file by its contents.

    Args:
        data: the whole file.
        where: what the file is called in an error.

    Raises:
        MeshError: it is none of PLY, STL, OBJ and GLB, its counts cannot be true, or it has
            more than `MAX_TRIANGLES` triangles.
    """
    if data[:4] == b"glTF":
        found = _glb(data, where)
    elif data[:3] == b"ply":
        found = _ply(data, where)
    elif _is_binary_stl(data):
        found = Sniffed("stl", struct.unpack_from("<I", data, 80)[0], -1)
    elif data.lstrip()[:5].lower() == b"solid" and b"facet" in data[:4096].lower():
        found = Sniffed("stl", data.lower().count(b"endfacet"), -1)
    elif len(data) >= _STL_HEADER and b"\0" in data[:_STL_HEADER]:
        raise _false_stl(data, where)
    elif re.search(rb"^(v|f)\s", data, re.MULTILINE):
        found = _obj(data, where)
    else:
        raise MeshError(f"{where} is no PLY, STL, OBJ or GLB file.")
    if found.triangles > MAX_TRIANGLES:
        raise MeshError(
            f"{where} has {found.triangles:,} triangles; at most {MAX_TRIANGLES:,} are read. "
            "Thin the mesh out in the scanner's program first."
        )
    if found.triangles == 0 or found.vertices == 0:
        raise MeshError(f"{where} has no triangles.")
    return found


def _is_binary_stl(data: bytes) -> bool:
    if len(data) < _STL_HEADER:
        return False
    count: int = struct.unpack_from("<I", data, 80)[0]
    return len(data) == _STL_HEADER + _STL_TRIANGLE * count


def _false_stl(data: bytes, where: str) -> MeshError:
    count = struct.unpack_from("<I", data, 80)[0]
    held = (len(data) - _STL_HEADER) // _STL_TRIANGLE
    return MeshError(
        f"{where} looks like a binary STL that says it has {count:,} triangles but holds {held:,}; "
        "it is cut short or damaged."
    )


def _obj(data: bytes, where: str) -> Sniffed:
    if wrong := _OBJ_INDEX.search(data):
        line = data.count(b"\n", 0, wrong.start()) + 1
        raise MeshError(
            f"{where} names a vertex by a number below 1 in line {line:,}; only numbers counted "
            "from the first vertex, which is 1, are read."
        )
    faces = len(re.findall(rb"^f\s", data, re.MULTILINE))
    vertices = len(re.findall(rb"^v\s", data, re.MULTILINE))
    return Sniffed("obj", faces, vertices)


def _ply(data: bytes, where: str) -> Sniffed:
    end = data.find(b"end_header", 0, _PLY_HEADER_MOST)
    if end < 0:
        raise MeshError(f"{where} is a PLY file without the end of its header; it is cut short.")
    header = data[:end].decode("ascii", "replace").split("\n")
    counts: dict[str, int] = {}
    size: dict[str, int] = {}
    element = ""
    text = any(line.split()[:2] == ["format", "ascii"] for line in header)
    for line in header:
        words = line.split()
        if words[:1] == ["element"] and len(words) == 3 and words[2].isdigit():
            element = words[1]
            counts[element] = int(words[2])
            size[element] = 0
        elif words[:1] == ["property"] and element:
            size[element] += _ply_size(words[1:], text=text, face=element == "face")
    least = sum(count * size[name] for name, count in counts.items())
    if least > len(data) - end:
        raise MeshError(
            f"{where} says it has {counts.get('vertex', 0):,} vertices and "
            f"{counts.get('face', 0):,} faces, but is too short for them; it is cut short."
        )
    return Sniffed("ply", counts.get("face", 0), counts.get("vertex", 0))


def _ply_size(words: list[str], *, text: bool, face: bool) -> int:
    """The least number of bytes of one property: a list may be empty, but a face has corners."""
    if words[:1] != ["list"] or len(words) < 3:
        return 2 if text else _PLY_SIZES.get(words[0] if words else "", 1)
    corners = 3 if face else 0
    if text:
        return 2 * (1 + corners)
    return _PLY_SIZES.get(words[1], 1) + corners * _PLY_SIZES.get(words[2], 1)


def _glb(data: bytes, where: str) -> Sniffed:
    damaged = MeshError(f"{where} is a damaged GLB file; export it again.")
    if len(data) < 20:
        raise damaged
    length, chunk = struct.unpack_from("<I", data, 8)[0], struct.unpack_from("<I", data, 12)[0]
    if length > len(data) or 20 + chunk > len(data):
        raise MeshError(f"{where} is a GLB file that is cut short.")
    try:
        tree = json.loads(data[20 : 20 + chunk])
        packed = [name for name in tree.get("extensionsRequired", []) if "compression" in name]
        accessors = tree.get("accessors", [])
        held = sum(int(accessor["count"]) for accessor in accessors)
        meshes = tree.get("meshes", [])
        # A mesh counts once for each node that shows it.
        shown = [node["mesh"] for node in tree.get("nodes", []) if "mesh" in node]
        primitives = [p for i in shown for p in meshes[i]["primitives"]]
        corners = sum(
            int(accessors[p["indices"] if "indices" in p else p["attributes"]["POSITION"]]["count"])
            for p in primitives
        )
        points = sum(int(accessors[p["attributes"]["POSITION"]]["count"]) for p in primitives)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, RecursionError):
        raise damaged from None
    if packed:
        raise MeshError(f"{where} is packed by “{packed[0]}”; export it without compression.")
    if held > len(data):
        raise MeshError(f"{where} says it has {held:,} values, more than it holds; it is damaged.")
    return Sniffed("glb", corners // 3, points)
