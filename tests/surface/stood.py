"""Shapes that stand on a floor, turned any way: what the scan bench must put upright again."""

import numpy as np

from layflat.base import FloatArray
from layflat.surface import Mesh
from zoo import grid_faces


def moved(mesh: Mesh, rotation: FloatArray, shift: FloatArray) -> Mesh:
    return Mesh(mesh.vertices_mm @ rotation.T + shift, mesh.faces)


def turn(seed: int) -> FloatArray:
    """A rotation drawn evenly from all."""
    drawn, upper = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    drawn = drawn * np.sign(np.diag(upper))
    drawn[:, 0] *= np.sign(np.linalg.det(drawn))
    return drawn


def joined(*meshes: Mesh) -> Mesh:
    starts = np.cumsum([0, *(len(mesh.vertices_mm) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.vertices_mm for mesh in meshes]),
        np.concatenate([mesh.faces + s for mesh, s in zip(meshes, starts, strict=False)]),
    )


def plate(
    length: float,
    width: float,
    *,
    count: int = 25,
    at: tuple[float, float] = (0.0, 0.0),
    noise: float = 0.0,
    seed: int = 0,
) -> Mesh:
    """A level rectangle at z = 0 that faces up."""
    x, y = np.meshgrid(
        np.linspace(-length / 2, length / 2, count) + at[0],
        np.linspace(-width / 2, width / 2, count) + at[1],
        indexing="ij",
    )
    z = np.random.default_rng(seed).normal(0.0, noise, x.shape) if noise else 0.0 * x
    return Mesh(np.stack([x, y, z], -1).reshape(-1, 3), grid_faces(count, count))


def shell(*, count: int = 41, dent_mm: float = 0.0) -> Mesh:
    """A thing like a vehicle: 4 m long to x, 1.8 m wide, its front lower than its rear, open below.

    It is its own mirror image in y = 0, but for a dent on its left side.
    """
    u, v = np.meshgrid(np.linspace(0, 1, count), np.linspace(0, np.pi, count), indexing="ij")
    x = 2000.0 - 4000.0 * u
    swell = np.sin(np.pi * (0.06 + 0.88 * u)) ** 0.4
    high = (500.0 + 800.0 * u**1.5) * swell
    y, z = 900.0 * swell * np.cos(v), 220.0 + high * np.sin(v)
    y = y - dent_mm * np.exp(-((x - 300.0) ** 2 + (z - 500.0) ** 2) / 200.0**2) * (y > 0)
    return Mesh(np.stack([x, y, z], -1).reshape(-1, 3), grid_faces(count, count))
