"""A scan of two million triangles on the scan bench: what each step takes, against plain libigl.

The demo's coupe, its triangles parted until there are 1.7 million, with noise, on a floor, turned,
and its triangles in random order, which is the worst case for a processor's cache. Seconds are the
processor's, of one core, so that other work on the machine counts little. The peer makes
the light mesh by collapsing edges of the whole scan, by libigl's `qslim`.
"""

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import igl
import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.demo import body_mesh, coupe_design
from layflat.surface import (
    Mesh,
    align,
    cut_floor,
    edge_table,
    faced_outward,
    features,
    locate,
    mend,
    mirror_check,
    ply_bytes,
    prepare,
    read_mesh,
)
from layflat.web.bodies.light import LIGHT_TRIANGLES, deviation_mm, light_mesh

WANTED = 2_000_000
_LEAST_BODY = 1_500_000
_NOISE_MM = 0.03
_FLOOR_NOISE_MM = 0.3
_TURN = 0.3


def scan(wanted: int = WANTED) -> Mesh:
    """The scan, of about *wanted* triangles."""
    mesh = body_mesh(coupe_design(), spacing_mm=10.0)
    points, faces = np.array(mesh.vertices_mm), np.array(mesh.faces)
    while len(faces) < 0.75 * wanted:
        points, faces = parted(points, faces)
    rng = np.random.default_rng(1)
    points = points + rng.normal(0.0, _NOISE_MM, points.shape)
    count = max(50, int(np.sqrt(max(wanted - len(faces), 0) / 2)))
    x, y = np.meshgrid(np.linspace(-3200, 3200, count), np.linspace(-1700, 1700, count))
    low = np.stack([x.ravel(), y.ravel(), rng.normal(0.0, _FLOOR_NOISE_MM, x.size)], axis=1)
    number = np.arange(count * count).reshape(count, count)
    a, b = number[:-1, :-1].ravel(), number[:-1, 1:].ravel()
    c, d = number[1:, 1:].ravel(), number[1:, :-1].ravel()
    floor = np.vstack([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]) + len(points)
    cosine, sine = np.cos(_TURN), np.sin(_TURN)
    turn = np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]])
    every = np.vstack([faces, floor])
    return Mesh(
        np.vstack([points, low]) @ turn.T + [300.0, 200.0, 10.0], every[rng.permutation(len(every))]
    )


def parted(points: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Each triangle as four."""
    table = edge_table(faces)
    a, b, c = faces.T
    ab, bc, ca = table.edge_of.reshape(-1, 3).T + len(points)
    smaller = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    return (
        np.vstack([points, points[table.ends].mean(axis=1)]),
        np.vstack([np.stack(corners, axis=1) for corners in smaller]),
    )


def timed(what: str, act: Callable[[], Any]) -> tuple[Any, float]:
    """What an act gives, and how many seconds of the processor it took; both are told."""
    began = time.process_time()
    found = act()
    seconds = time.process_time() - began
    unit = 1e6 if sys.platform == "linux" else 1e9
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
    print(f"{what:36s} {seconds:8.1f} s {most:8.2f} GB at most so far", flush=True)
    return found, seconds


def main() -> None:
    fine = scan()
    print(f"a scan of {len(fine.faces):,} triangles; seconds of the processor")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "scan.ply"
        place.write_bytes(ply_bytes(fine))
        read, _ = timed("reading", lambda: read_mesh(place, unit="mm"))
    mended, _ = timed("mending", lambda: mend(read.mesh).mesh)
    timed("checking the body", lambda: prepare(mended))
    timed("the light mesh of all", lambda: light_mesh(mended))
    aligned, _ = timed("putting upright", lambda: align(mended))
    plane = aligned.floor.plane if aligned.floor else None
    cut, _ = timed("cutting the floor", lambda: cut_floor(mended, plane, within_mm=15.0).mesh)
    light, taken = timed("the light mesh", lambda: light_mesh(cut))
    timed("left against right", lambda: mirror_check(light, aligned.mirror.plane))
    faced, _ = timed("facing outward", lambda: faced_outward(cut))
    body, _ = timed("checking it for panels", lambda: prepare(faced))
    timed("looking for creases", lambda: features(body))
    timed("the tree for places", lambda: body.locate(faced.vertices_mm[:5]))
    told(cut, light)
    vertices, faces = np.array(cut.vertices_mm), np.array(cut.faces)
    plain, whole = timed("peer: plain libigl", lambda: igl.qslim(vertices, faces, LIGHT_TRIANGLES))
    told(cut, Mesh(plain[0], plain[1]))
    print(f"plain libigl takes {whole / taken:.1f} times as long as the light mesh")


def told(fine: Mesh, light: Mesh) -> None:
    """Say how far the vertices of a fine mesh lie from a light one."""
    worst = locate(light, fine.vertices_mm[::40]).distances_mm.max()
    print(
        f"{len(light.faces):,} triangles; 99 of 100 of the scan's vertices within "
        f"{deviation_mm(fine, light):.2f} mm, all within {worst:.1f} mm"
    )


if __name__ == "__main__":
    main()
