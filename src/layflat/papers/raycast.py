"""What rays meet on a surface (Embree), and how much of the sky its places see."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh
from numpy.typing import NDArray

from layflat.base import FloatArray, IntArray
from layflat.papers.camera import Camera, along
from layflat.surface import Mesh

Float32Array = NDArray[np.float32]

_RAYS = 1 << 17
"""Rays in one batch: their values stay in the processor's cache."""


@dataclass(frozen=True, eq=False)
class Stage:
    """A mesh made ready to be seen; made once, it serves any number of pictures.

    Attributes:
        mesh: what is seen.
        middle_mm: (3,) float64; rays are cast in coordinates about it.
        smooth: (n, 4) float32, each vertex's unit normal and its openness to the sky.
        rays: Embree's own index of the triangles.
    """

    mesh: Mesh
    middle_mm: FloatArray
    smooth: Float32Array
    rays: rtcore_scene.EmbreeScene


def make_stage(mesh: Mesh, *, sky_directions: int = 40) -> Stage:
    """*mesh* made ready to be seen.

    Args:
        mesh: faces counter-clockwise from outside.
        sky_directions: how many directions to the sky tell how open a place is; this takes
            longest of all on a large mesh. 0 leaves every place open.
    """
    middle = mesh.vertices_mm.mean(axis=0)
    local, normals = mesh.vertices_mm - middle, vertex_normals(mesh)
    rays = _scene(local, mesh.faces)
    openness = _sky_openness(mesh, local, normals, rays, sky_directions)
    smooth = np.column_stack([normals, openness]).astype(np.float32)
    return Stage(mesh, middle, smooth, rays)


@dataclass(eq=False)
class Seen:
    """What each ray of a window met: face -1 and infinite depth where nothing.

    Attributes:
        corner: (2,) the window's first column and row in the picture.
        supersample: rays per pixel along each side.
        face, depth, normal, to_eye, openness: by row and column of rays; normals are on the
            side of the eye.
        inside: whether the ray met the face from behind.
        mark: the last of the marks that lies there, -1 for none.
    """

    corner: IntArray
    supersample: int
    face: IntArray
    depth: Float32Array
    normal: Float32Array
    to_eye: Float32Array
    openness: Float32Array
    inside: NDArray[np.bool_]
    mark: IntArray


def vertex_normals(mesh: Mesh) -> FloatArray:
    """(n, 3) float64: unit normals, the mean of the faces' normals by area."""
    corners = mesh.vertices_mm[mesh.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    ids = mesh.faces.T.ravel()
    total = np.stack(
        [
            np.bincount(ids, np.tile(normals[:, axis], 3), minlength=len(mesh.vertices_mm))
            for axis in range(3)
        ],
        axis=1,
    )
    unit: FloatArray = total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-30)
    return unit


def _scene(local: FloatArray, faces: IntArray) -> rtcore_scene.EmbreeScene:
    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, local.astype(np.float32)[faces])
    return scene


def cast(
    stage: Stage,
    camera: Camera,
    window: tuple[slice, slice],
    supersample: int,
    *,
    marks: Sequence[Mesh] = (),
    near_mm: float = 4.0,
) -> Seen:
    """What the rays through *window* (rows, columns) meet, *supersample* a pixel each way.

    Args:
        stage: what is seen.
        camera: where the eye is.
        window: of the picture.
        supersample: rays per pixel along each side.
        marks: parts of the surface that are told apart, each a mesh that lies on it.
        near_mm: how far a mark may lie from the surface, along the ray.
    """
    corner = np.array([window[1].start, window[0].start])
    shape = tuple(supersample * (part.stop - part.start) for part in window)
    seen = Seen(
        corner=corner,
        supersample=supersample,
        face=np.full(shape, -1, dtype=np.int64),
        depth=np.full(shape, np.inf, dtype=np.float32),
        normal=np.zeros((*shape, 3), dtype=np.float32),
        to_eye=np.zeros((*shape, 3), dtype=np.float32),
        openness=np.ones(shape, dtype=np.float32),
        inside=np.zeros(shape, dtype=bool),
        mark=np.full(shape, -1, dtype=np.int64),
    )
    scenes = [_scene(mark.vertices_mm - stage.middle_mm, mark.faces) for mark in marks]
    near = camera.axes[2].astype(np.float32)
    columns = (np.arange(shape[1]) + 0.5) / supersample + corner[0]
    band = max(1, _RAYS // max(1, shape[1]))
    for top in range(0, shape[0], band):
        rows = (np.arange(top, min(top + band, shape[0])) + 0.5) / supersample + corner[1]
        origins, directions = camera.rays(columns, rows)
        from_middle = origins + (camera.target - stage.middle_mm)
        start = np.ascontiguousarray(from_middle, dtype=np.float32)
        ahead = np.ascontiguousarray(directions, dtype=np.float32)
        found = stage.rays.run(start, ahead, output=True)
        hit = np.flatnonzero(found["primID"] >= 0)
        face, reach, ahead_hit = found["primID"][hit], found["tfar"][hit], ahead[hit]
        normal, openness = _smooth_at(stage, face, found["u"][hit], found["v"][hit])
        inside = _dot(found["Ng"][hit], ahead_hit) > 0.0
        normal[inside] *= -1
        at = (top + hit // shape[1], hit % shape[1])
        # All rays start at one depth: from the eye, or from a plane before everything.
        seen.depth[at] = (
            camera.distance - origins[0] @ camera.axes[2] - reach * along(ahead_hit, near)
        )
        seen.face[at], seen.inside[at] = face, inside
        seen.normal[at], seen.to_eye[at], seen.openness[at] = normal, -ahead_hit, openness
        for index, scene in enumerate(scenes):
            distance = scene.run(start[hit], ahead_hit, query="DISTANCE")
            marked = distance <= reach + near_mm
            seen.mark[at[0][marked], at[1][marked]] = index
    return seen


def _smooth_at(
    stage: Stage, face: NDArray[np.int32], u: Float32Array, v: Float32Array
) -> tuple[Float32Array, Float32Array]:
    """Unit normals (k, 3) and openness (k,) at places of faces, from those of the corners."""
    a, b, c = stage.mesh.faces[face].T
    u, v = u[:, None], v[:, None]
    values = (1.0 - u - v) * stage.smooth[a] + u * stage.smooth[b] + v * stage.smooth[c]
    normal = values[:, :3]
    normal = normal / np.sqrt(np.maximum(_dot(normal, normal), 1e-30))[:, None]
    return normal, values[:, 3]


def _dot(first: Float32Array, second: Float32Array) -> Float32Array:
    product: Float32Array = np.einsum("ij,ij->i", first, second)
    return product


def _sky_openness(
    mesh: Mesh,
    points: FloatArray,
    normals: FloatArray,
    scene: rtcore_scene.EmbreeScene,
    directions: int,
    reach: float = 0.20,
) -> FloatArray:
    """How much of the sky each vertex sees, 0 to 1, over obstacles nearer than *reach* sizes.

    Rays go to fixed directions over the sphere (a Fibonacci lattice), weighted by the cosine.
    """
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    step = np.arange(directions) + 0.5
    height = 1.0 - 1.25 * step / directions
    turn = step * np.pi * (3.0 - np.sqrt(5.0))
    across = np.sqrt(np.clip(1 - height**2, 0, None))
    sky = np.stack([across * np.cos(turn), across * np.sin(turn), height], axis=1)
    free, total = np.zeros(len(points)), np.full(len(points), 1e-9)
    start = (points + 1e-3 * size * normals).astype(np.float32)
    for direction in sky:
        cosine = along(normals, direction)
        above = np.flatnonzero(cosine > 0.05)
        rays = np.ascontiguousarray(np.broadcast_to(direction, (len(above), 3)), dtype=np.float32)
        limit = np.full(len(above), reach * size, dtype=np.float32)
        found = scene.run(start[above], rays, dists=limit, query="OCCLUDED")
        total[above] += cosine[above]
        free[above] += np.where(found < 0, cosine[above], 0.0)
    openness = np.where(total > 1e-6, free / total, 1.0)
    for _ in range(2):
        openness = _smoothed(mesh, openness)
    return openness


def _smoothed(mesh: Mesh, values: FloatArray) -> FloatArray:
    """Each vertex's value averaged over the triangles about it."""
    mean = values[mesh.faces].mean(axis=1)
    ids, count = mesh.faces.T.ravel(), len(values)
    total = np.bincount(ids, np.tile(mean, 3), minlength=count)
    around = np.bincount(ids, minlength=count)
    result: FloatArray = np.where(around > 0, total / np.maximum(around, 1), values)
    return result
