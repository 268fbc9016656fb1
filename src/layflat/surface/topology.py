"""How the triangles of a mesh hang together: edges, loops, shells, and what kind of sheet it is.

Words: a *half-edge* is one side of one triangle, from corner i to corner i + 1; half-edge
``3 f + i`` belongs to face f. Two half-edges *match* when they are the two sides of one edge. A
mesh is *manifold* when no edge has more than two triangles and the triangles at each vertex
form one fan. All functions take plain index arrays, so that they also serve meshes that are
not yet good enough for anything else.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from layflat.base import IntArray, MeshError, counted


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """The edges of a set of triangles.

    Attributes:
        ends: (e, 2) int64, the two vertices of each edge, the lesser first; sorted.
        edge_of: (3 m,) int64, the edge of each half-edge.
        count: (e,) int64, how many triangles meet at each edge.
        mate: (3 m,) int64, the other half-edge of an edge with exactly two; -1 at a boundary
            and where more than two meet.
        forward: (3 m,) bool, whether the half-edge runs from the lesser to the greater vertex.
    """

    ends: IntArray
    edge_of: IntArray
    count: IntArray
    mate: IntArray
    forward: np.ndarray[tuple[int], np.dtype[np.bool_]]


def half_edges(faces: IntArray) -> IntArray:
    """(3 m, 2) int64: the directed half-edges of (m, 3) faces."""
    return faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)


def edge_table(faces: IntArray) -> EdgeTable:
    """The edges of (m, 3) faces, found by sorting: time m log m, no loop."""
    if not len(faces):
        none = np.zeros(0, np.int64)
        return EdgeTable(np.zeros((0, 2), np.int64), none, none, none, np.zeros(0, np.bool_))
    start, end = faces.reshape(-1), faces[:, [1, 2, 0]].reshape(-1)
    low, high = np.minimum(start, end), np.maximum(start, end)
    span = np.int64(high.max() + 1)
    key = low * span + high
    order = np.argsort(key)
    ordered = key[order]
    first = np.r_[True, ordered[1:] != ordered[:-1]]
    rank = np.cumsum(first) - 1
    edge_of = np.empty(len(key), np.int64)
    edge_of[order] = rank
    starts = np.flatnonzero(first)
    count = np.diff(np.r_[starts, len(key)])
    pair = starts[count == 2]
    mate = np.full(len(key), -1, np.int64)
    mate[order[pair]] = order[pair + 1]
    mate[order[pair + 1]] = order[pair]
    ends = np.stack([ordered[starts] // span, ordered[starts] % span], axis=1)
    return EdgeTable(ends, edge_of, count.astype(np.int64), mate, start < end)


def face_components(
    table: EdgeTable, *, barrier: np.ndarray[tuple[int], np.dtype[np.bool_]] | None = None
) -> IntArray:
    """(m,) int64: a number for each set of faces that hang together by edges with two triangles.

    Args:
        table: the edges.
        barrier: (e,) bool, edges that part their two faces.
    """
    side = np.flatnonzero(table.mate > np.arange(len(table.mate)))
    if barrier is not None:
        side = side[~barrier[table.edge_of[side]]]
    count = len(table.mate) // 3
    graph = coo_array(
        (np.ones(len(side), np.int8), (side // 3, table.mate[side] // 3)), shape=(count, count)
    )
    return connected_components(graph, directed=False)[1].astype(np.int64)


def split_fans(faces: IntArray, table: EdgeTable | None = None) -> tuple[IntArray, IntArray]:
    """Give each fan of triangles round a vertex a vertex of its own.

    Fans are joined by edges with exactly two triangles; where more meet, they part. The result
    has neither edges with more than two triangles nor vertices with more than one fan.

    Returns:
        (m, 3) faces into the new vertices, and (k,) for each new vertex the old one it copies.
        New vertices are numbered in the order of the old ones; unused ones disappear.
    """
    table = edge_table(faces) if table is None else table
    corner = np.arange(3 * len(faces))
    after = corner - corner % 3 + (corner + 1) % 3
    side = np.flatnonzero(table.mate > corner)
    other = table.mate[side]
    same = table.forward[side] == table.forward[other]
    start = np.where(same, other, after[other])
    end = np.where(same, after[other], other)
    rows, columns = np.r_[side, after[side]], np.r_[start, end]
    graph = coo_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(len(corner),) * 2)
    fans, fan = connected_components(graph, directed=False)
    # All corners of a fan are at one vertex: whichever is written last tells which.
    source = np.empty(fans, np.int64)
    source[fan] = faces.reshape(-1)
    order = np.argsort(source, kind="stable")
    rank = np.empty(fans, np.int64)
    rank[order] = np.arange(fans)
    return rank[fan].reshape(-1, 3), source[order]


def boundary_loops(faces: IntArray, table: EdgeTable | None = None) -> list[IntArray]:
    """The boundary loops of a manifold, consistently oriented mesh.

    Returns:
        For each loop its (k,) vertices in order, material on the left, beginning at its lowest
        vertex; the loops in the order of these.

    Raises:
        MeshError: a vertex lies on the boundary twice, or the faces are not oriented alike.
    """
    table = edge_table(faces) if table is None else table
    rim = half_edges(faces)[table.count[table.edge_of] == 1]
    following = dict(zip(rim[:, 0].tolist(), rim[:, 1].tolist(), strict=True))
    if len(following) != len(rim) or len(set(following.values())) != len(rim):
        raise MeshError(
            "The boundary of the surface touches itself at a vertex; mend the mesh first."
        )
    loops = []
    for start in sorted(following):
        if start not in following:
            continue
        loop = [start]
        while (vertex := following.pop(loop[-1])) != start:
            loop.append(vertex)
        loops.append(np.array(loop, np.int64))
    return loops


def oriented(table: EdgeTable) -> bool:
    """Whether every two triangles that share an edge face the same way."""
    side = np.flatnonzero(table.mate >= 0)
    return bool(np.all(table.forward[side] != table.forward[table.mate[side]]))


def compact(faces: IntArray) -> tuple[IntArray, IntArray]:
    """Faces numbered anew without unused vertices, and the (k,) old numbers that are left."""
    if not len(faces):
        return faces, np.zeros(0, np.int64)
    mask = np.zeros(int(faces.max()) + 1, np.bool_)
    mask[faces] = True
    return (np.cumsum(mask) - 1)[faces], np.flatnonzero(mask)


def euler_characteristic(faces: IntArray, table: EdgeTable | None = None) -> int:
    """Vertices in use minus edges plus faces."""
    table = edge_table(faces) if table is None else table
    return _used(faces) - len(table.ends) + len(faces)


def _used(faces: IntArray) -> int:
    """How many vertices the faces have; counting is far quicker than sorting."""
    return int(np.count_nonzero(np.bincount(faces.reshape(-1))))


def manifold_fault(faces: IntArray, table: EdgeTable | None = None) -> str | None:
    """What keeps the mesh from being manifold and oriented, as the end of a sentence, or None."""
    table = edge_table(faces) if table is None else table
    if bad := int((table.count > 2).sum()):
        return f"{bad} of its edges have more than two triangles"
    if not oriented(table):
        return "neighbouring triangles face opposite ways"
    if bad := len(split_fans(faces, table)[1]) - _used(faces):
        return f"it touches itself at {bad} of its vertices"
    return None


def require_sheet(faces: IntArray, *, what: str) -> list[IntArray]:
    """Check that the mesh is a disc with any number of holes, and give its boundary loops.

    Such a sheet is one piece, manifold, oriented, has a boundary, and no handle: its Euler
    characteristic is 2 minus the number of its loops.

    Args:
        faces: (m, 3) int64.
        what: how the surface is called in the message, e.g. "The panel “hood”".

    Raises:
        MeshError: with the reason.
    """
    if not len(faces):
        raise MeshError(f"{what} has no triangles.")
    table = edge_table(faces)
    if fault := manifold_fault(faces, table):
        raise MeshError(f"{what} cannot be laid flat as it is: {fault}. Mend the mesh first.")
    pieces = int(face_components(table).max()) + 1
    if pieces > 1:
        raise MeshError(f"{what} falls into {pieces} separate pieces; a panel must be one piece.")
    loops = boundary_loops(faces, table)
    if not loops:
        raise MeshError(
            f"{what} is closed like a ball and has no edge; film cannot be laid round it. "
            "Trace an outline on it first."
        )
    handles, odd = divmod(2 - len(loops) - euler_characteristic(faces, table), 2)
    if handles or odd:
        raise MeshError(
            f"{what} has {counted(handles or 1, 'handle')}, as a tube joins two places; "
            "only a sheet with or without holes can be laid flat. Split it by another outline."
        )
    return loops
