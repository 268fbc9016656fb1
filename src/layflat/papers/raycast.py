"""What rays meet on a surface (Embree), and how much of the sky its places see."""

from dataclasses import dataclass

import numpy as np
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh
from numpy.typing import NDArray

from layflat.base import FloatArray, IntArray
from layflat.papers.camera import Camera
from layflat.surface import Mesh

_RAYS = 1 << 19


@dataclass(eq=False)
class Seen:
    """What each ray of a window met: face -1 and infinite depth where nothing."""

    corner: IntArray
    supersample: int
    face: IntArray
    depth: FloatArray
    normal: FloatArray
    to_eye: FloatArray
    openness: FloatArray
    inside: NDArray[np.bool_]


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
    TriangleMesh(scene, local[faces].astype(np.float32))
    return scene


def cast(
    mesh: Mesh,
    openness: FloatArray,
    camera: Camera,
    window: tuple[slice, slice],
    supersample: int,
) -> Seen:
    """What the rays through *window* (rows, columns) meet, *supersample* a pixel each way.

    Args:
        mesh: what is seen.
        openness: (n,) float64, one per vertex, carried to the rays.
        camera: where the eye is.
        window: of the picture.
        supersample: rays per pixel along each side.
    """
    corner = np.array([window[1].start, window[0].start])
    shape = tuple(supersample * (part.stop - part.start) for part in window)
    seen = Seen(
        corner=corner,
        supersample=supersample,
        face=np.full(shape, -1, dtype=np.int64),
        depth=np.full(shape, np.inf),
        normal=np.zeros((*shape, 3)),
        to_eye=np.zeros((*shape, 3)),
        openness=np.ones(shape),
        inside=np.zeros(shape, dtype=bool),
    )
    local = mesh.vertices_mm - camera.target
    scene = _scene(local, mesh.faces)
    smooth = np.column_stack([vertex_normals(mesh), openness])
    band = max(1, _RAYS // max(1, shape[1]))
    for top in range(0, shape[0], band):
        rows = np.arange(top, min(top + band, shape[0]))
        grid = np.stack(np.meshgrid(np.arange(shape[1]), rows), axis=-1).reshape(-1, 2)
        origins, directions = camera.rays((grid + 0.5) / supersample + corner)
        found = scene.run(
            np.ascontiguousarray(origins, dtype=np.float32),
            np.ascontiguousarray(directions, dtype=np.float32),
            output=True,
        )
        hit = found["primID"] >= 0
        face = found["primID"][hit].astype(np.int64)
        corners = mesh.faces[face]
        v, w = found["u"][hit].astype(np.float64), found["v"][hit].astype(np.float64)
        weights = np.stack([1 - v - w, v, w], axis=1)
        triangle = local[corners]
        values = np.einsum("ij,ijk->ik", weights, smooth[corners])
        normal = values[:, :3]
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
        to_eye = -directions[hit]
        flat = np.cross(triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0])
        inside = np.einsum("ij,ij->i", flat, to_eye) < 0
        normal[inside] *= -1
        at = (grid[hit, 1], grid[hit, 0])
        points = np.einsum("ij,ijk->ik", weights, triangle)
        seen.depth[at] = camera.distance - points @ camera.axes[2]
        seen.face[at], seen.inside[at] = face, inside
        seen.normal[at], seen.to_eye[at], seen.openness[at] = normal, to_eye, values[:, 3]
    return seen


def sky_openness(mesh: Mesh, *, directions: int = 40, reach: float = 0.20) -> FloatArray:
    """How much of the sky each vertex sees, 0 to 1, over obstacles nearer than *reach* sizes.

    Rays go to fixed directions over the sphere (a Fibonacci lattice), weighted by the cosine.
    """
    points = mesh.vertices_mm - mesh.vertices_mm.mean(axis=0)
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    normals = vertex_normals(mesh)
    scene = _scene(points, mesh.faces)
    step = np.arange(directions) + 0.5
    height = 1.0 - 1.25 * step / directions
    turn = step * np.pi * (3.0 - np.sqrt(5.0))
    across = np.sqrt(np.clip(1 - height**2, 0, None))
    sky = np.stack([across * np.cos(turn), across * np.sin(turn), height], axis=1)
    free, total = np.zeros(len(points)), np.full(len(points), 1e-9)
    start = (points + 1e-3 * size * normals).astype(np.float32)
    for direction in sky:
        cosine = normals @ direction
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
