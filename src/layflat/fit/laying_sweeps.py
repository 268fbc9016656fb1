"""In which order a piece is wiped down: sweeps that each begin at film that lies already."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray, frozen
from layflat.film import Flat
from layflat.fit.fingers import FingerZone, parts_of
from layflat.fit.laying_anchor import Place, Pull, outwards

HAND_MM = 120.0
"""Width of the first wiped band: that of a squeegee or a hand. Common practice, no source."""

_ARROWS = (0.15, 0.5, 0.85)
_INSET = 0.9
_UP_AHEAD_OUT = np.array((1.0, 0.5, 0.25))


@dataclass(frozen=True, eq=False)
class Sweep:
    """Overlapping strokes side by side, all in one direction.

    Attributes:
        number: from 1, in the order of laying.
        along: (2,) float64, unit vector in the flat in which each stroke goes.
        faces: (k,) int64, the triangles that it lays.
        arrows: (j, 2, 2) float64, some of its strokes in the flat, start and end.
        middle_mm: (2,) float64, the middle of what it lays, in the flat.
        excess_mm: film too much that it meets, by the zones of fingers in it.
        is_first: whether it is one of the two first, from the anchor along the pull.
        is_ahead: whether it lies on the side of the anchor that is laid first.
    """

    number: int
    along: FloatArray
    faces: IntArray
    arrows: FloatArray
    middle_mm: FloatArray
    excess_mm: float
    is_first: bool
    is_ahead: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "along", frozen(self.along).reshape(2))
        object.__setattr__(self, "middle_mm", frozen(self.middle_mm).reshape(2))
        object.__setattr__(self, "faces", frozen(self.faces, np.int64))
        object.__setattr__(self, "arrows", frozen(self.arrows).reshape(-1, 2, 2))


def find_sweeps(
    flat: Flat,
    anchor: Place,
    pull: Pull,
    zones: Sequence[FingerZone],
    *,
    up: FloatArray,
    forward: FloatArray,
) -> tuple[Sweep, ...]:
    """From the anchor along the pull to both ends, then outwards from that band.

    Of the four parts beside the band those with the least film too much come first, so that what
    is too much is worked towards an edge that is still free; of those with as much the upper, since
    slip runs down, before the one ahead, and that before the outer one. All film is in one sweep,
    and each hangs together with what earlier ones laid.

    Args:
        flat: the piece.
        anchor: its first hold.
        pull: its first line.
        zones: where it fingers.
        up, forward: (3,) unit vectors of the body.
    """
    across = np.array((-pull.along[1], pull.along[0]))
    own = flat.points_mm[flat.mesh.faces].mean(axis=1) - anchor.flat_mm
    s, t = own @ pull.along, own @ across
    band = np.abs(t) <= 0.5 * HAND_MM
    sides = [(band & (s >= 0.0), pull.along), (band & (s < 0.0), -pull.along)]
    beside = [
        (~band & ((s >= 0.0) == ahead) & ((t >= 0.0) == left), across if left else -across)
        for ahead in (True, False)
        for left in (True, False)
    ]
    excess = [_excess(zones, mask) for mask, _ in beside]
    areas = flat.triangle_areas_mm2
    centres = flat.mesh.vertices_mm[flat.mesh.faces].mean(axis=1)
    before = _UP_AHEAD_OUT @ np.stack((up, forward, outwards(anchor, up=up, forward=forward)))

    def turn(number: int) -> tuple[float, float]:
        own_areas, own_centres = (values[beside[number][0]] for values in (areas, centres))
        middle = own_areas @ own_centres / max(own_areas.sum(), 1e-9)
        return round(excess[number], 1), -float(middle @ before)

    order = sorted(range(4), key=turn)
    wanted = [*sides, *(beside[i] for i in order)]
    laid = _laid_in_turn(flat, [mask for mask, _ in wanted], seed=int(np.argmin(np.hypot(s, t))))
    sweeps: list[Sweep] = []
    for i, ((_, along), faces) in enumerate(zip(wanted, laid, strict=True)):
        if len(faces):
            mask = np.zeros(len(s), bool)
            mask[faces] = True
            arrows = _arrows(flat, faces, along, from_mm=anchor.flat_mm if i < 2 else None)
            sweeps.append(
                Sweep(
                    number=len(sweeps) + 1,
                    along=along,
                    faces=faces,
                    arrows=arrows,
                    middle_mm=anchor.flat_mm + areas[faces] @ own[faces] / areas[faces].sum(),
                    excess_mm=_excess(zones, mask),
                    is_first=i < 2,
                    is_ahead=bool(s[faces] @ areas[faces] >= 0.0),
                )
            )
    return tuple(sweeps)


def _excess(zones: Sequence[FingerZone], mask: FloatArray) -> float:
    """The film too much of the zones that lie mostly in a part."""
    return float(sum(zone.excess_mm for zone in zones if mask[zone.faces].mean() > 0.5))


def _laid_in_turn(flat: Flat, masks: list[FloatArray], *, seed: int) -> list[IntArray]:
    """The triangles of each sweep; what does not touch laid film waits until it does."""
    faces = flat.mesh.faces
    touched = np.zeros(len(flat.points_mm), bool)
    touched[faces[seed]] = True
    waiting: list[IntArray] = []
    laid: list[IntArray] = []
    for mask in masks:
        chosen = np.flatnonzero(mask)
        if len(chosen):
            of_face = parts_of(faces[chosen])
            waiting += [chosen[of_face == part] for part in range(int(of_face.max()) + 1)]
        now: list[IntArray] = []
        found = True
        while found:
            ready = [part for part in waiting if touched[faces[part]].any()]
            waiting = [part for part in waiting if not touched[faces[part]].any()]
            for part in ready:
                touched[faces[part]] = True
            now += ready
            found = bool(ready)
        laid.append(np.concatenate(now) if now else np.zeros(0, np.int64))
    return laid


def _arrows(
    flat: Flat, faces: IntArray, along: FloatArray, *, from_mm: FloatArray | None
) -> FloatArray:
    """A few strokes of a sweep: from its near side to its far one."""
    centres = flat.points_mm[flat.mesh.faces[faces]].mean(axis=1)
    if from_mm is not None:
        reach = float(((centres - from_mm) @ along).max())
        return np.array([[from_mm, from_mm + _INSET * max(reach, 1.0) * along]])
    beside = np.array((-along[1], along[0]))
    u, v = centres @ along, centres @ beside
    low, high = float(v.min()), float(v.max())
    width = max(0.5 * HAND_MM, (high - low) / 12.0)
    arrows = []
    for share in _ARROWS if high - low > 2.0 * HAND_MM else _ARROWS[1:2]:
        at = low + share * (high - low)
        near = np.abs(v - at) <= width
        if near.any():
            start, end = float(u[near].min()), float(u[near].max())
            end = start + _INSET * (end - start)
            arrows.append([start * along + at * beside, end * along + at * beside])
    return np.array(arrows)
