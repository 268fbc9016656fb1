"""Meshes split along a drawn line, and cut off there: wheel arches, openings, the lower rim."""

from collections.abc import Callable

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.demo.fields import Field, between, drop, gradient

Level = Callable[[FloatArray], FloatArray]
"""Maps points (n, 3) to about their distance from a line on the skin, with a sign."""


def split(
    points: FloatArray, faces: IntArray, level: Level, skin: Field
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Split triangles where *level* changes its sign.

    Vertices near the line are moved onto it first, so that no slivers arise.

    Returns:
        points (n, 3), faces (m, 3), and the sign (m,) of the level on each face, -1 or 1.
    """
    value = level(points)
    points, value = _snapped(points, faces, value, level, skin)
    after = np.roll(faces, -1, axis=1)
    code = np.minimum(faces, after) * len(points) + np.maximum(faces, after)
    key = np.unique(code[value[faces] * value[after] < 0])
    new = _roots(points[key // len(points)], points[key % len(points)], level, skin)
    at = np.searchsorted(key, code).clip(0, max(len(key) - 1, 0))
    cut = (key[at] == code) if len(key) else np.zeros(code.shape, dtype=bool)
    middle = np.where(cut, len(points) + at, -1)
    result = [faces[~cut.any(axis=1)]]
    for shift in range(3):
        f, m, c = (np.roll(array, -shift, axis=1) for array in (faces, middle, cut))
        one = c[:, 0] & ~c[:, 1] & ~c[:, 2]
        result.append(np.stack([f[one, 0], m[one, 0], f[one, 2]], axis=1))
        result.append(np.stack([m[one, 0], f[one, 1], f[one, 2]], axis=1))
        two = c[:, 0] & c[:, 1] & ~c[:, 2]
        result.append(np.stack([m[two, 0], f[two, 1], m[two, 1]], axis=1))
        result.append(np.stack([f[two, 0], m[two, 0], f[two, 2]], axis=1))
        result.append(np.stack([m[two, 0], m[two, 1], f[two, 2]], axis=1))
    faces = np.vstack(result)
    value = np.concatenate([value, np.zeros(len(new))])
    total = value[faces].sum(axis=1)
    flat = (value[faces] == 0.0).all(axis=1)
    total[flat] = level(np.vstack([points, new])[faces[flat]].mean(axis=1))
    sign = np.where(total < 0, -1.0, 1.0)
    return np.vstack([points, new]), faces, sign


def trimmed(
    points: FloatArray, faces: IntArray, level: Level, skin: Field
) -> tuple[FloatArray, IntArray]:
    """The part of a mesh where *level* is positive, with its rim on the line."""
    points, faces, sign = split(points, faces, level, skin)
    return compact(points, faces[sign > 0])


def compact(points: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """The same faces without the vertices that none of them uses."""
    used = np.zeros(len(points), np.bool_)
    used[faces] = True
    return points[used], (np.cumsum(used) - 1)[faces]


def _snapped(
    points: FloatArray, faces: IntArray, value: FloatArray, level: Level, skin: Field
) -> tuple[FloatArray, FloatArray]:
    edge = np.linalg.norm(points[faces[:, 0]] - points[faces[:, 1]], axis=1)
    near = np.flatnonzero(np.abs(value) < 0.28 * float(np.median(edge)))
    moved = points[near]
    for _ in range(4):
        slope = gradient(level, moved)
        normal = gradient(skin, moved)
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
        slope -= np.einsum("ij,ij->i", slope, normal)[:, None] * normal
        size = np.maximum((slope**2).sum(axis=1), 1e-3)
        moved = drop(skin, moved - (level(moved) / size)[:, None] * slope, steps=1)
    fine = (np.abs(level(moved)) < 0.05) & (
        np.linalg.norm(moved - points[near], axis=1) < 0.6 * float(np.median(edge))
    )
    # A vertex on the middle plane may only move within it.
    fine &= (points[near, 1] != 0.0) | (np.abs(moved[:, 1]) < 1e-9)
    value = value.copy()
    target = points.copy()
    target[near[fine]] = moved[fine]
    value[near[fine]] = 0.0
    return _without_turns(points, target, faces, value, level)


def _without_turns(
    points: FloatArray, target: FloatArray, faces: IntArray, value: FloatArray, level: Level
) -> tuple[FloatArray, FloatArray]:
    """Take back the moves that would turn a triangle over or squeeze it."""
    before = _normals(points, faces)
    for _ in range(6):
        after = _normals(target, faces)
        size = np.einsum("ij,ij->i", before, before)
        turned = np.einsum("ij,ij->i", before, after) < 0.15 * size
        back = np.unique(faces[turned])
        back = back[(target[back] != points[back]).any(axis=1)]
        if not len(back):
            break
        target[back] = points[back]
        value[back] = level(points[back])
    return target, value


def _normals(points: FloatArray, faces: IntArray) -> FloatArray:
    a, b, c = (points[faces[:, i]] for i in range(3))
    normals: FloatArray = np.cross(b - a, c - a)
    return normals


def _roots(start: FloatArray, end: FloatArray, level: Level, skin: Field) -> FloatArray:
    """Where the line crosses each segment, on the skin."""
    on_middle = (start[:, 1] == 0.0) & (end[:, 1] == 0.0)
    roots = drop(skin, between(level, start, end), steps=2)
    roots[on_middle, 1] = 0.0
    return roots
