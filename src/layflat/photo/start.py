"""A first guess for the adjustment: poses and places from homographies, picture by picture."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.photo.lens import Lens, plain_lens
from layflat.photo.plane_map import homography, through
from layflat.photo.records import PhotoError
from layflat.photo.solved import Sighting

_FOCALS = (0.8, 1.3, 0.6)
"""Focal lengths in widths that are tried where the picture's notes tell none."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Start:
    """Where the adjustment begins; the fields are those of `Solved`.

    Attributes:
        focal_known: for each lens, whether its focal length is from the picture's notes.
    """

    lenses: tuple[Lens, ...]
    focal_known: tuple[bool, ...]
    lens_of: IntArray
    poses: tuple[FloatArray, ...]
    sheets: tuple[int, ...]
    places: tuple[FloatArray, ...]


def first_guess(sightings: Sequence[Sighting], *, focal_px: float | None = None) -> Iterator[Start]:
    """One start, or several where neither *focal_px* nor a picture's notes tell a focal length.

    Raises:
        PhotoError: pictures share no sheet.
    """
    cameras = list(dict.fromkeys(sighting.camera for sighting in sightings))
    known = {
        camera: focal_px
        or next((s.focal_px for s in sightings if s.camera == camera and s.focal_px), None)
        for camera in cameras
    }
    order = _order(sightings)
    for factor in _FOCALS if None in known.values() else (1.0,):
        lenses = []
        for camera in cameras:
            one = next(s for s in sightings if s.camera == camera)
            focal = known[camera] or factor * max(one.width_px, one.height_px)
            lenses.append(plain_lens(one.width_px, one.height_px, focal))
        lens_of = np.array([cameras.index(sighting.camera) for sighting in sightings])
        poses, places = _chained(sightings, order, [lenses[each] for each in lens_of])
        sheets = tuple(sorted(places))
        yield Start(
            lenses=tuple(lenses),
            focal_known=tuple(known[camera] is not None for camera in cameras),
            lens_of=lens_of,
            poses=tuple(poses[each] for each in range(len(sightings))),
            sheets=sheets,
            places=tuple(places[number] for number in sheets),
        )


def _order(sightings: Sequence[Sighting]) -> list[int]:
    """Pictures in an order in which each shares sheets with those before it."""
    shown = [set(sighting.sheet.tolist()) for sighting in sightings]
    left = set(range(len(sightings)))
    first = max(left, key=lambda each: (len(shown[each]), -each))
    order, reached = [first], set(shown[first])
    left.remove(first)
    while left:
        following = max(left, key=lambda each: (len(shown[each] & reached), -each))
        if not shown[following] & reached:
            raise PhotoError(
                f"{sightings[following].name} shows none of the sheets that the other pictures "
                "show; take pictures that overlap by at least one whole sheet."
            )
        order.append(following)
        reached |= shown[following]
        left.remove(following)
    return order


def _chained(
    sightings: Sequence[Sighting], order: Sequence[int], lenses: Sequence[Lens]
) -> tuple[dict[int, FloatArray], dict[int, FloatArray]]:
    """Poses by picture and places by sheet, the sheet of the least number at the origin."""
    places: dict[int, FloatArray] = {}
    poses: dict[int, FloatArray] = {}
    for picture in order:
        sighting, lens = sightings[picture], lenses[picture]
        rays = (sighting.pixels - lens.values[1:3]) / lens.focal_px
        if not places:
            numbers, counts = np.unique(sighting.sheet, return_counts=True)
            places[int(numbers[np.argmax(counts)])] = np.zeros(3)
        known = np.isin(sighting.sheet, list(places))
        plane = np.vstack([
            _placed(places[int(number)], board)
            for number, board in zip(sighting.sheet[known], sighting.board_mm[known], strict=True)
        ])  # fmt: skip
        pose, matrix = _pose(plane, rays[known])
        poses[picture] = pose
        back = np.asarray(np.linalg.inv(matrix), dtype=np.float64)
        for number in np.unique(sighting.sheet[~known]).tolist():
            mine = sighting.sheet == number
            places[number] = _laid(sighting.board_mm[mine], through(back, rays[mine]))
    least = places[min(places)]
    turn = _planar(least[2])
    moved = {
        number: np.array([*(turn.T @ (place[:2] - least[:2])), place[2] - least[2]])
        for number, place in places.items()
    }
    return {each: _moved_pose(pose, least) for each, pose in poses.items()}, moved


def _planar(angle: float) -> FloatArray:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.array([(cos, -sin), (sin, cos)])


def _placed(place: FloatArray, board_mm: FloatArray) -> FloatArray:
    placed: FloatArray = _planar(place[2]) @ board_mm + place[:2]
    return placed


def _laid(board_mm: FloatArray, plane_mm: FloatArray) -> FloatArray:
    """(3,) the place at which points of a sheet come nearest to points of the plane."""
    a, b = board_mm - board_mm.mean(axis=0), plane_mm - plane_mm.mean(axis=0)
    angle = np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b))
    shift = plane_mm.mean(axis=0) - _planar(angle) @ board_mm.mean(axis=0)
    return np.array([*shift, angle])


def _pose(plane_mm: FloatArray, rays: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(6,) turn and shift of a camera without distortion, and the homography that it makes."""
    import cv2

    matrix = homography(plane_mm, rays)
    matrix = matrix / np.sqrt(np.linalg.norm(matrix[:, 0]) * np.linalg.norm(matrix[:, 1]))
    if matrix[2] @ np.array([*plane_mm.mean(axis=0), 1.0]) < 0:
        matrix = -matrix
    axes = np.column_stack((matrix[:, :2], np.cross(matrix[:, 0], matrix[:, 1])))
    left, _, right = np.linalg.svd(axes)
    turn = left @ np.diag([1.0, 1.0, np.linalg.det(left @ right)]) @ right
    pose = np.concatenate((cv2.Rodrigues(turn)[0].ravel(), matrix[:, 2]))
    return pose, np.column_stack((turn[:, :2], matrix[:, 2]))


def _moved_pose(pose: FloatArray, least: FloatArray) -> FloatArray:
    """The pose when the plane's origin and axes become those of the place *least*."""
    import cv2

    turn = cv2.Rodrigues(pose[:3])[0]
    spin = np.eye(3)
    spin[:2, :2] = _planar(least[2])
    shift = pose[3:] + turn[:, :2] @ least[:2]
    return np.concatenate((cv2.Rodrigues(turn @ spin)[0].ravel(), shift))
