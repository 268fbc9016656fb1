"""Pieces moved along and across the roll, all at once, so that it gets shorter.

Between two pieces that are near each other, convex part by convex part, a line is drawn that parts
them; as long as every piece keeps to its side of all its lines, nothing overlaps. Among all
moves that keep to the lines, none longer than a stated way, the one that makes the stretch
shortest is a linear programme (Z. Li and V. Milenkovic, Compaction and separation algorithms for
non-convex polygons and their applications, European Journal of Operational Research 84 (1995)
539-561; from memory), solved by HiGHS. From where the pieces lie then, new lines are drawn.
"""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from layflat.base import FloatArray, IntArray
from layflat.nest.convex import convex_parts
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part

_WAY = 0.04
"""The longest move, as a part of the usable width; halved where it brings nothing."""
_PARTING_WAY = 0.08
_SHORTEST_WAY = 0.002
_WORTH = 1e-5
_WORTH_ON = 2e-5
_HOPEFUL, _WORTH_HOPE = 1.012, 1e-3
"""Where pieces are parted: longer than wanted by more, a step must take off so much."""
_TOUCH_MM = 0.02
"""Outlines that overlap by less count as touching: the engine reckons in single precision."""
_LEFT = 1e-4
"""What it counts that a piece lies nearer to the beginning, beside the length."""
_KEPT = 500
_TIME_LIMIT_S = 1.0


@dataclass(frozen=True, eq=False)
class _Solid:
    """A piece where it lies.

    Attributes:
        hulls: its convex parts, (k, 2) float64 each.
        boxes: (hulls, 4) float64, of each part: least x and y, greatest x and y.
        normals: of each part, (k, 2) float64, outwards.
    """

    hulls: list[FloatArray]
    boxes: FloatArray
    normals: list[FloatArray]


def squeezed(pack: Pack, frame: Frame, *, seconds: float) -> Pack:
    """The pack, shorter where moves of all pieces at once make it so; turns are kept.

    Args:
        pack: pieces whose grown outlines (`Part.grown`) do not overlap; otherwise it comes back as
            it is.
        frame: the usable width that pieces stay within.
        seconds: no step is begun after so much time.
    """
    deadline = time.monotonic() + seconds
    way = _WAY * frame.usable_mm
    while way > _SHORTEST_WAY * frame.usable_mm and time.monotonic() < deadline:
        moved = _moved(pack.spots, frame, way)
        if moved is None:
            break
        closer = make_pack(moved)
        gained = pack.length_mm - closer.length_mm
        if gained > 0:
            pack = closer
        if gained < _WORTH * pack.length_mm:
            way *= 0.25
    return pack


def parted(pack: Pack, frame: Frame, *, most_mm: float) -> Pack | None:
    """The pack with pieces that overlap moved apart, then all of them moved together.

    The same lines part pieces that lie into each other: there they say how far the two are to
    move at least (separation, as in the paper above).

    Args:
        pack: within the usable width; pieces may overlap.
        frame: the usable width that pieces stay within.
        most_mm: how long it may be in the end.

    Returns:
        A pack whose grown outlines overlap no more than the solver's tolerance; None where no such
        moves were found or it stays too long.
    """
    way = _PARTING_WAY * frame.usable_mm
    longest = _HOPEFUL * most_mm
    while way > _SHORTEST_WAY * frame.usable_mm:
        moved = _moved(pack.spots, frame, way, is_parting=True)
        if moved is None:
            return None
        closer = make_pack(moved)
        gained = pack.length_mm - closer.length_mm
        pack = closer
        if pack.length_mm > longest and gained < _WORTH_HOPE * pack.length_mm:
            return None
        if gained < _WORTH_ON * pack.length_mm:
            way *= 0.25
    return pack if pack.length_mm <= most_mm else None


def _moved(
    spots: Sequence[Spot], frame: Frame, way: float, *, is_parting: bool = False
) -> list[Spot] | None:
    """The spots after the best moves up to a way; None where none is found.

    Unless it is for parting them, there is none where outlines overlap.
    """
    count = len(spots)
    boxes = np.array([spot.box() for spot in spots])
    before, behind, normals, rooms = _lines([_solid(spot) for spot in spots], way)
    if not is_parting:
        if len(rooms) and rooms.min() < -_TOUCH_MM:
            return None
        rooms = np.maximum(rooms, 0.0)
    # Moves (x, y) of each piece, then the length.
    lines = np.arange(len(rooms))
    ends = len(rooms) + np.arange(count)
    pieces = np.arange(count)
    rows = np.concatenate((lines, lines, lines, lines, ends, ends))
    columns = np.concatenate(
        (
            2 * before,
            2 * before + 1,
            2 * behind,
            2 * behind + 1,
            2 * pieces,
            np.full(count, 2 * count),
        )
    )
    values = np.concatenate(
        (
            normals[:, 0],
            normals[:, 1],
            -normals[:, 0],
            -normals[:, 1],
            np.ones(count),
            -np.ones(count),
        )
    )
    limits = np.concatenate((rooms, -boxes[:, 2]))
    # Nothing is moved out of the roll, and what sticks out already no farther.
    least = np.column_stack((-boxes[:, 0], np.minimum(0.0, -boxes[:, 1]))).clip(-way, 0.0)
    room = np.maximum(0.0, frame.usable_mm - boxes[:, 3])
    most = np.column_stack((np.full(count, way), room)).clip(0.0, way)
    whole = boxes[:, 2].max() + (way if is_parting else 0.0)
    cost = np.concatenate((np.tile([_LEFT / count, 0.0], count), [1.0]))
    solved = milp(
        cost,
        constraints=LinearConstraint(
            coo_array((values, (rows, columns)), shape=(len(limits), 2 * count + 1)).tocsr(),
            ub=limits,
        ),
        bounds=Bounds(np.append(least, 0.0), np.append(most, whole)),
        options={"time_limit": _TIME_LIMIT_S},
    )
    if solved.x is None:
        return None
    moves = solved.x[:-1].reshape(-1, 2).tolist()
    return [
        spot._replace(x_mm=spot.x_mm + x, y_mm=spot.y_mm + y)
        for spot, (x, y) in zip(spots, moves, strict=True)
    ]


def _lines(
    solids: Sequence[_Solid], way: float
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """For each line the piece before and behind it, its normal, and the room between them."""
    whole = np.array(
        [(*one.boxes[:, :2].min(axis=0), *one.boxes[:, 2:].max(axis=0)) for one in solids]
    )
    pairs: list[tuple[int, int]] = []
    normals: list[FloatArray] = []
    rooms: list[float] = []
    for i, one in enumerate(solids):
        near = np.flatnonzero(_apart(whole[i], whole[i + 1 :]) < 2 * way) + i + 1
        for j in near.tolist():
            other = solids[j]
            gaps = _apart(one.boxes[:, None, :], other.boxes[None, :, :])
            for a, b in np.argwhere(gaps < 2 * way).tolist():
                normal, room = _parting(one, a, other, b)
                if room < 3 * way:
                    pairs.append((i, j))
                    normals.append(normal)
                    rooms.append(room)
    index = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return index[:, 0], index[:, 1], np.array(normals).reshape(-1, 2), np.array(rooms)


def _apart(one: FloatArray, others: FloatArray) -> FloatArray:
    """How far boxes are from each other along the axis along which they are farthest."""
    before = others[..., :2] - one[..., 2:]
    behind = one[..., :2] - others[..., 2:]
    return np.asarray(np.maximum(before, behind).max(axis=-1))


def _parting(one: _Solid, a: int, other: _Solid, b: int) -> tuple[FloatArray, float]:
    """The side of two convex parts along which they are farthest apart, and how far that is.

    Two convex polygons that do not overlap are parted by a line along a side of one of them.
    """
    first, second = one.hulls[a], other.hulls[b]
    out = one.normals[a]
    rooms = (out @ second.T).min(axis=1) - (out * first).sum(axis=1)
    back = other.normals[b]
    rooms_back = (back @ first.T).min(axis=1) - (back * second).sum(axis=1)
    at, at_back = int(rooms.argmax()), int(rooms_back.argmax())
    if rooms[at] >= rooms_back[at_back]:
        return out[at], float(rooms[at])
    return -back[at_back], float(rooms_back[at_back])


def _solid(spot: Spot) -> _Solid:
    hulls, normals = _turned(spot.part, spot.turn_deg)
    moved = [hull + np.array([spot.x_mm, spot.y_mm]) for hull in hulls]
    boxes = np.array([(*hull.min(axis=0), *hull.max(axis=0)) for hull in moved])
    return _Solid(moved, boxes, normals)


@lru_cache(maxsize=_KEPT)
def _turned(part: Part, turn_deg: float) -> tuple[list[FloatArray], list[FloatArray]]:
    """A part's convex parts at a turn about its origin, and the normals of their sides."""
    angle = np.radians(turn_deg)
    cos, sin = np.cos(angle), np.sin(angle)
    turn = np.array([[cos, sin], [-sin, cos]])
    hulls = [(hull + part.centre) @ turn for hull in _hulls(part.grown.tobytes())]
    normals = []
    for hull in hulls:
        side = np.roll(hull, -1, axis=0) - hull
        out = np.column_stack((side[:, 1], -side[:, 0]))
        normals.append(out / np.linalg.norm(out, axis=1)[:, None])
    return hulls, normals


@lru_cache(maxsize=_KEPT)
def _hulls(outline: bytes) -> list[FloatArray]:
    """Kept by the points themselves, since the same pieces are laid again and again."""
    return convex_parts(np.frombuffer(outline).reshape(-1, 2))
