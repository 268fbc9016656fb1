"""A scan put upright: x to the front of the vehicle, y to its left, z up from the floor.

The floor gives the direction up (`floor`), the plane of symmetry the direction across (`mirror`).
Which end is the front cannot be seen from either; the lower end is taken for it, as most vehicles
have it (common shape, no source), until a person says otherwise. What a person picks goes before
what is found.
"""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, MeshError, Progress, frozen, silent
from layflat.surface.floor import LEAST_FLOOR_SHARE, Floor, find_floor
from layflat.surface.mesh import Mesh
from layflat.surface.mirror import Mirror, MirrorSearch
from layflat.surface.plane import Plane, plane_through
from layflat.surface.samples import Samples, sample

SURE_SHARE = 0.6
"""A plane of symmetry that mirrors less of the scan than this is to be looked at."""

CLEAR_LEAD = 0.1
"""The next best plane must mirror so much less of it for the best to be sure."""

PICKED_SLACK_MM = 15.0
"""How far a pick may be off: the middle between two picks is refined no farther than this."""

_SAMPLES = 30_000
_OVER_FLOOR_MM = 15.0
_SAME_LEVEL = 2.0
"""A floor whose normal leans more than this many degrees out of the middle plane is told."""


@dataclass(frozen=True, eq=False)
class Corrections:
    """What a person says of how the vehicle stands, in the scan's coordinates.

    Attributes:
        floor_mm: (3, 3), three places on the floor, or on what is level with it; None: found.
        pair_mm: (2, 3), the same place on the left of the vehicle and on its right; None: found.
        flip: turn the front to the other end than would be taken.
    """

    floor_mm: FloatArray | None = None
    pair_mm: FloatArray | None = None
    flip: bool = False

    def __post_init__(self) -> None:
        for name, count in (("floor_mm", 3), ("pair_mm", 2)):
            value = getattr(self, name)
            if value is None:
                continue
            points = np.asarray(value, np.float64)
            if points.shape != (count, 3) or not np.isfinite(points).all():
                raise MeshError(f"{'Three' if count == 3 else 'Two'} points in space are needed.")
            object.__setattr__(self, name, frozen(points))


@dataclass(frozen=True, eq=False)
class Aligned:
    """How a scan is put upright, and how sure that is.

    A point p of the scan comes to rotation · p + shift_mm.

    Attributes:
        rotation: (3, 3) float64; its rows are the directions to the front, to the left, and up.
        shift_mm: (3,) float64.
        floor: the floor in the scan's coordinates, None where none was found or picked.
        floor_from: `found`, `picked`, or `guessed` from the long axis where there is none.
        mirror: the plane of symmetry, its normal to the left.
        mirror_from: `found` or `picked`.
        next_share: how much of the scan the next best plane mirrors.
        front_from: `guessed` or `picked`.
        lean_deg: by how much the floor's normal leans out of the plane of symmetry.
    """

    rotation: FloatArray
    shift_mm: FloatArray
    floor: Floor | None
    floor_from: str
    mirror: Mirror
    mirror_from: str
    next_share: float
    front_from: str
    lean_deg: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "rotation", frozen(self.rotation))
        object.__setattr__(self, "shift_mm", frozen(self.shift_mm))

    @property
    def is_sure(self) -> bool:
        """Whether floor and middle were found or picked without doubt."""
        clear = self.mirror_from == "picked" or (self.mirror.share - self.next_share >= CLEAR_LEAD)
        return (
            clear
            and self.floor_from != "guessed"
            and self.mirror.share >= SURE_SHARE
            and self.lean_deg <= _SAME_LEVEL
        )

    def to_vehicle(self, points_mm: FloatArray) -> FloatArray:
        """(k, 3) points of the scan in the vehicle's axes."""
        turned: FloatArray = points_mm @ self.rotation.T + self.shift_mm
        return turned

    def from_vehicle(self, points_mm: FloatArray) -> FloatArray:
        """(k, 3) points in the vehicle's axes back in the scan's."""
        back: FloatArray = (points_mm - self.shift_mm) @ self.rotation
        return back


def align(
    mesh: Mesh, corrections: Corrections | None = None, *, progress: Progress = silent
) -> Aligned:
    """How *mesh* is put upright. The same scan and corrections give the same.

    Args:
        mesh: the scan, triangles facing outward (see `mend`).
        corrections: what a person picked; it goes before what is found.
        progress: told what is being done.

    Raises:
        MeshError: the scan has too little surface, or what was picked contradicts itself.
    """
    said = corrections or Corrections()
    samples = sample(mesh, _SAMPLES)
    progress("looking for the floor", 0.0)
    floor, floor_from = _floor(samples, said)
    rest = samples
    if floor is not None:
        rest = samples.kept(floor.plane.heights_mm(samples.points_mm) > _OVER_FLOOR_MM)
    progress("looking for the middle", 0.3)
    search = MirrorSearch(rest)
    up = None if floor is None else floor.plane.normal
    mirror, next_share = _middle(search, up, said)
    if up is None:
        up = _guessed_up(rest, mirror.plane.normal)
    lean = float(np.degrees(np.arcsin(min(1.0, abs(float(up @ mirror.plane.normal))))))
    across = mirror.plane.normal - (mirror.plane.normal @ up) * up
    size = float(np.linalg.norm(across))
    if size < 0.5:
        raise MeshError(
            "The two points left and right lie over each other, not beside each other, over the "
            "floor that was picked; pick one pair again."
        )
    across /= size
    front_from = "guessed"
    if said.pair_mm is not None:
        front_from = "picked"
        across *= np.sign(across @ (said.pair_mm[0] - said.pair_mm[1]))
    elif _front(rest, np.cross(across, up), up) < 0:
        across = -across
    if said.flip:
        front_from, across = "picked", -across
    plane = mirror.plane if mirror.plane.normal @ across > 0 else mirror.plane.turned()
    rotation = np.stack([np.cross(across, up), across, up])
    progress("aligned", 1.0)
    return Aligned(
        rotation,
        _shift(rest, rotation, plane, floor),
        floor,
        floor_from,
        Mirror(plane, mirror.share, mirror.rms_mm),
        "found" if said.pair_mm is None else "picked",
        next_share,
        front_from,
        lean,
    )


def _floor(samples: Samples, said: Corrections) -> tuple[Floor | None, str]:
    if said.floor_mm is None:
        floor = find_floor(samples)
        return floor, "guessed" if floor is None else "found"
    plane = plane_through(said.floor_mm)
    heights = plane.heights_mm(samples.points_mm)
    if np.median(heights) < 0:
        plane, heights = plane.turned(), -heights
    if (heights < -50.0).mean() > 0.2:
        raise MeshError(
            "The three points lie across the vehicle: more than a fifth of the scan is below "
            "them. Pick three places on the floor, well apart."
        )
    inside = np.abs(heights) < 10.0
    rms = float(np.sqrt(np.mean(heights[inside] ** 2))) if inside.any() else 0.0
    share = float(inside.mean())
    return Floor(plane, share if share >= LEAST_FLOOR_SHARE else 0.0, rms), "picked"


def _middle(search: MirrorSearch, up: FloatArray | None, said: Corrections) -> tuple[Mirror, float]:
    """The plane of symmetry, and how much the next best one mirrors."""
    if said.pair_mm is not None:
        left, right = said.pair_mm
        if np.linalg.norm(left - right) < 100.0:
            raise MeshError(
                "The two points left and right are less than 100 mm apart; pick the same place on "
                "both sides, well apart."
            )
        normal = (left - right) / np.linalg.norm(left - right)
        picked = Plane(normal, float(normal @ (0.5 * (left + right))))
        refined = search.refined(picked)
        moved = np.linalg.norm(refined.mirrored(left[None]) - right)
        return search.judged(refined if moved <= 2 * PICKED_SLACK_MM else picked), 0.0
    found = search.best(search.candidates(up))
    good = [item for item in found if item.share > found[0].share - 0.5 * CLEAR_LEAD]
    if len(good) > 1:
        good.sort(key=lambda item: _extent(search.samples, item.plane.normal))
        # A vehicle is longer than wide; where up is not known it may be lower than wide.
        good = good if up is not None or len(good) < 3 else good[1:]
    best = good[0]
    others = [item.share for item in found if item is not best]
    return search.judged(search.refined(best.plane)), max(others, default=0.0)


def _extent(samples: Samples, direction: FloatArray) -> float:
    return float(np.ptp(samples.points_mm @ direction))


def _guessed_up(samples: Samples, across: FloatArray) -> FloatArray:
    """Up where there is no floor: square to the long axis, to where the open shell faces."""
    points = samples.points_mm - samples.points_mm.mean(axis=0)
    flat = points - (points @ across)[:, None] * across
    ahead = np.linalg.svd(flat, full_matrices=False)[2][0]
    up = np.cross(across, ahead)
    up /= np.linalg.norm(up)
    # The triangles of a closed body face all ways alike; those of a shell that is open below
    # face up on the whole.
    guessed: FloatArray = up if samples.normals.sum(axis=0) @ up >= 0 else -up
    return guessed


def _front(samples: Samples, ahead: FloatArray, up: FloatArray) -> float:
    """Greater than zero where the end to which *ahead* points is the lower one."""
    along, height = samples.points_mm @ ahead, samples.points_mm @ up
    low, high = np.quantile(along, (0.01, 0.99))
    third = (high - low) / 3
    rear = np.quantile(height[along < low + third], 0.95)
    return float(rear - np.quantile(height[along > high - third], 0.95))


def _shift(
    samples: Samples, rotation: FloatArray, middle: Plane, floor: Floor | None
) -> FloatArray:
    """Zero is in the middle of the length, in the plane of symmetry, and on the floor."""
    points = samples.points_mm @ rotation.T
    low, high = points.min(axis=0), points.max(axis=0)
    # The plane of symmetry may lean a little; at half the height it is met.
    at = np.array([0.5 * (low[0] + high[0]), 0.0, 0.5 * (low[2] + high[2])]) @ rotation
    at = at - middle.heights_mm(at[None])[0] * middle.normal
    across = float(rotation[1] @ at)
    ground = low[2] if floor is None else floor.plane.offset_mm
    return -np.array([0.5 * (low[0] + high[0]), across, ground])
