"""Chains joined over short gaps: the way a pencil would go on, and no farther than is said.

Two ends are joined where each goes on towards the other; the straightest and shortest joint first,
each end once. So two lines that cross go on as they came. Where two ends meet at an angle, near
the point in which their directions meet, they make a corner.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FloatArray
from layflat.photo.link import Chain

MOST_GAP_MM = 8.0
"""Wider gaps are a person's to close."""
_CORNER_GAP_MM = 4.5
_AIM_MM = 6.0
_BLUNT_MM = 1.2
"""The last bit of a chain bends towards what it meets, and does not tell its direction."""
_SLACK_MM = 1.2
_MOST_BEND = math.radians(50.0)
_TAIL_MM = 60.0


@dataclass(frozen=True, eq=False)
class _End:
    chain: int
    last: bool
    at: FloatArray
    way: FloatArray


def bridge(chains: list[Chain], *, directed: bool, most_gap_mm: float = MOST_GAP_MM) -> list[Chain]:
    """Chains joined end to end over gaps of at most *most_gap_mm*; closed ones stay as they are.

    Args:
        chains: those found.
        directed: whether a chain may go on only to the beginning of another, as edges do.
        most_gap_mm: the widest gap to close.
    """
    done = [chain for chain in chains if chain.closed]
    work = [chain for chain in chains if not chain.closed]
    ends = [_end(i, chain, last) for i, chain in enumerate(work) for last in (False, True)]
    if not ends:
        return done
    mate: dict[tuple[int, bool], tuple[int, bool]] = {}
    for _, one, two in sorted(_offers(ends, most_gap_mm, directed), key=lambda offer: offer[0]):
        a, b = (ends[one].chain, ends[one].last), (ends[two].chain, ends[two].last)
        if a not in mate and b not in mate:
            mate[a], mate[b] = b, a
    used: set[int] = set()
    starts = [i for i in range(len(work)) if (i, False) not in mate or (i, True) not in mate]
    done += [
        _joined(work, mate, start, used)
        for start in [*starts, *range(len(work))]
        if start not in used
    ]
    return sorted((_tails_cut(chain) for chain in done), key=lambda chain: -chain.length_mm)


def _end(number: int, chain: Chain, last: bool) -> _End:
    points = chain.at_mm[::-1] if last else chain.at_mm
    station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points[:40], axis=0).T))))
    inner = np.flatnonzero((station >= _BLUNT_MM) & (station <= _AIM_MM))
    some = points[inner] if len(inner) > 2 else points[: min(len(points), 8)]
    middle = some.mean(axis=0)
    _, _, axes = np.linalg.svd(some - middle)
    way = axes[0] if axes[0] @ (some[0] - some[-1]) > 0 else -axes[0]
    return _End(number, last, points[0], way)


def _offers(ends: list[_End], most_gap_mm: float, directed: bool) -> list[tuple[float, int, int]]:
    """What joining two ends would cost, for all that may be joined."""
    places = np.array([end.at for end in ends])
    pairs = KDTree(places).query_pairs(most_gap_mm, output_type="ndarray")
    found = []
    for one, two in pairs.tolist():
        if directed and ends[one].last == ends[two].last:
            continue
        cost = _cost(ends[one], ends[two])
        if cost is not None:
            found.append((cost, one, two))
    return found


def _cost(one: _End, two: _End) -> float | None:
    way = two.at - one.at
    gap = float(np.hypot(*way))
    # Ends that lie side by side have no direction between them to speak of.
    slack = math.atan2(_SLACK_MM, max(gap, 1e-9))
    turn = math.acos(float(np.clip(-(one.way @ two.way), -1.0, 1.0)))
    if gap < 1e-9:
        return turn if turn < _MOST_BEND else None
    aims = [
        max(0.0, math.acos(float(np.clip(one.way @ way / gap, -1.0, 1.0))) - slack),
        max(0.0, math.acos(float(np.clip(-(two.way @ way) / gap, -1.0, 1.0))) - slack),
    ]
    if turn < _MOST_BEND and max(aims) < 0.5 * _MOST_BEND:
        return gap / MOST_GAP_MM + turn + sum(aims)
    if gap <= _CORNER_GAP_MM and _meet(one, two):
        return 4.0 + gap / MOST_GAP_MM
    return None


def _meet(one: _End, two: _End) -> bool:
    """Whether two ends go on to meet in one point that is near to both."""
    cross = one.way[0] * two.way[1] - one.way[1] * two.way[0]
    if abs(cross) < math.sin(math.radians(20.0)):
        return False
    way = two.at - one.at
    along_one = (way[0] * two.way[1] - way[1] * two.way[0]) / cross
    along_two = (way[0] * one.way[1] - way[1] * one.way[0]) / cross
    low, high = -1.5, 1.5 * _CORNER_GAP_MM
    return bool(low < along_one < high and low < along_two < high)


def _joined(
    work: list[Chain],
    mate: dict[tuple[int, bool], tuple[int, bool]],
    start: int,
    used: set[int],
) -> Chain:
    """The chain that begins with one and goes on over the joints."""
    forward = (start, False) not in mate or (start, True) in mate
    parts: list[Chain] = []
    here, onward, closed = start, forward, False
    while True:
        used.add(here)
        parts.append(work[here] if onward else work[here].turned())
        following = mate.get((here, onward))
        if following is None:
            break
        here, onward = following[0], not following[1]
        if here in used:
            closed = here == start
            break
    bridged = [np.zeros(len(part.at_mm), dtype=np.bool_) for part in parts]
    for part, flags, number in zip(parts, bridged, range(len(parts)), strict=True):
        flags[:] = part.bridged
        flags[-1] = closed or number < len(parts) - 1
    return Chain(
        np.vstack([part.at_mm for part in parts]),
        np.concatenate([part.strength for part in parts]),
        np.concatenate(bridged),
        np.concatenate([part.by_hand for part in parts]),
        closed,
    )


def _tails_cut(chain: Chain) -> Chain:
    """A chain whose end overran its beginning, closed where the two are nearest.

    Who draws round a piece often goes on a little beside where they began.
    """
    if chain.closed or len(chain.at_mm) < 50 or chain.length_mm < 4.0 * _TAIL_MM:
        return chain
    steps = np.hypot(*np.diff(chain.at_mm, axis=0).T)
    station = np.concatenate(([0.0], np.cumsum(steps)))
    head = np.flatnonzero(station <= _TAIL_MM)
    tail = np.flatnonzero(station >= station[-1] - _TAIL_MM)
    away, which = (np.asarray(v) for v in KDTree(chain.at_mm[tail]).query(chain.at_mm[head]))
    near = np.flatnonzero(away < 2.0)
    if not len(near):
        return chain
    # As much of both tails as can be goes.
    waste = station[head[near]] + station[-1] - station[tail[which[near]]]
    best = near[np.argmin(away[near] + 0.01 * np.abs(waste - waste.mean()))]
    part = slice(int(head[best]), int(tail[which[best]]) + 1)
    bridged = chain.bridged[part].copy()
    bridged[-1] = True
    return Chain(chain.at_mm[part], chain.strength[part], bridged, chain.by_hand[part], closed=True)
