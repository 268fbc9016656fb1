"""What kind of mesh file some bytes are; the contents count, not the name."""

import re
from mmap import mmap
from typing import Literal

from layflat.base import MeshError
from layflat.surface.read_stl import is_binary_stl

MAX_BYTES = 1_500_000_000

_START = 4096
_OBJ = re.compile(rb"(?:\A|[\n\r])[ \t]*(?:v|f|vn|vt|o|g|mtllib|usemtl)[ \t]")

Kind = Literal["ply", "stl", "stl text", "obj", "glb"]


def sniff(data: bytes | mmap, *, where: str) -> Kind:
    """Find the kind of mesh file by its contents.

    Args:
        data: the whole file, read or mapped.
        where: what the file is called in an error.

    Raises:
        MeshError: it is none of PLY, STL, OBJ and GLB.
    """
    start = data[:_START]
    if start.startswith(b"glTF"):
        return "glb"
    if re.match(rb"ply[ \t]*[\r\n]", start):
        return "ply"
    if is_binary_stl(data):
        return "stl"
    if re.match(rb"\s*solid\b", start, re.IGNORECASE) and b"\0" not in start:
        return "stl text"
    if len(data) >= 84 and b"\0" in start:
        return "stl"
    if _OBJ.search(data, 0, 1 << 20):
        return "obj"
    raise MeshError(f"{where} is no PLY, STL, OBJ or GLB file.")
