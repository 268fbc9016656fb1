"""Flattening against libigl's SLIM, its growth with size, and its memory.

The peer gets what we get: the same panel, the same start, the same law (LOG_ARAP is the film
without Poisson effect). Times are CPU times of this process, so that other work on the machine
does not change the ratio.
"""

import math
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace

import igl
import numpy as np

from layflat.base import FloatArray
from layflat.film import Film, flatten, generic_film, strain_of
from layflat.surface import Mesh

PEER_STEPS = 20
LEAST_SPEED_UP = 10.0
MOST_GROWTH = 1.3
MOST_MEMORY_GB = 1.5
PANEL_TRIANGLES = 44_000
SIZES = (10_000, 40_000, 160_000, 400_000)
REPEATS = 3


def panel(triangles: int) -> Mesh:
    """A hood-sized, doubly curved panel with two creases, of about so many triangles."""
    along = round(math.sqrt(triangles / 2 * 1400 / 1100)) + 1
    across = round(math.sqrt(triangles / 2 * 1100 / 1400)) + 1
    x, y = np.meshgrid(np.linspace(-700, 700, along), np.linspace(-550, 550, across), indexing="ij")
    crown = -(x**2) / 4000 - y**2 / 3000 + 60 * np.cos(x / 250) * np.cos(y / 300)
    creases = 25 * np.exp(-(((np.abs(y) - 300) / 60) ** 2)) * (1 + x / 1400)
    ids = np.arange(along * across).reshape(along, across)
    a, b, c, d = ids[:-1, :-1], ids[1:, :-1], ids[1:, 1:], ids[:-1, 1:]
    faces = np.concatenate(
        (np.stack((a, b, c), -1).reshape(-1, 3), np.stack((a, c, d), -1).reshape(-1, 3))
    )
    return Mesh(np.stack((x, y, crown + creases), -1).reshape(-1, 3), faces)


def cpu_seconds(work: Callable[[], object], *, repeats: int = REPEATS) -> float:
    """The least CPU time of several runs."""
    times = []
    for _ in range(repeats):
        begin = time.process_time()
        work()
        times.append(time.process_time() - begin)
    return min(times)


def film_without_poisson() -> Film:
    return replace(generic_film(), poisson_ratio=0.0)


def log_energy(mesh: Mesh, points_mm: FloatArray) -> float:
    strain = strain_of(mesh, points_mm)
    log_squares = np.log(strain.greatest) ** 2 + np.log(strain.least) ** 2
    return float(mesh.face_areas_mm2 @ log_squares)


def verdict(*, good: bool) -> str:
    return "pass" if good else "miss"


def against_slim() -> None:
    mesh, film = panel(PANEL_TRIANGLES), film_without_poisson()
    start = flatten(mesh, film, max_steps=0).points_mm
    flat = flatten(mesh, film)
    ours = cpu_seconds(lambda: flatten(mesh, film))
    found: list[FloatArray] = []

    def slim() -> None:
        data = igl.slim_precompute(
            mesh.vertices_mm,
            mesh.faces.astype(np.int32),
            start,
            igl.MappingEnergyType.LOG_ARAP,
            np.zeros(0, np.int32),
            np.zeros((0, 2)),
            0.0,
        )
        found.append(igl.slim_solve(data, PEER_STEPS))

    theirs = cpu_seconds(slim, repeats=1)
    speed_up = theirs / ours
    energy = log_energy(mesh, flat.points_mm) / log_energy(mesh, found[0])
    print(f"{len(mesh.faces)} triangles, {flat.steps} steps against SLIM's {PEER_STEPS}")
    print(
        f"  speed  {speed_up:6.1f} times SLIM's (at least {LEAST_SPEED_UP:g}): "
        f"{verdict(good=speed_up >= LEAST_SPEED_UP)}"
    )
    print(f"  energy {energy:8.6f} of SLIM's (at most 1): {verdict(good=energy <= 1.0 + 1e-9)}")


def growth() -> None:
    film = generic_film()
    meshes = [panel(size) for size in SIZES]
    times = [cpu_seconds(lambda mesh=mesh: flatten(mesh, film)) for mesh in meshes]
    counts = [len(mesh.faces) for mesh in meshes]
    for count, seconds in zip(counts, times, strict=True):
        print(f"  {count:7d} triangles cost {seconds / times[0]:6.1f} times the smallest")
    exponent = math.log(times[-1] / times[0]) / math.log(counts[-1] / counts[0])
    print(
        f"  growth n^{exponent:.2f} (at most n^{MOST_GROWTH:g}): "
        f"{verdict(good=exponent <= MOST_GROWTH)}"
    )


def memory() -> None:
    """The peak of a process of its own that flattens the largest panel."""
    code = (
        "import resource, sys\n"
        "from bench.flatten import SIZES, panel\n"
        "from layflat.film import flatten, generic_film\n"
        "flatten(panel(SIZES[-1]), generic_film())\n"
        "peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "print(peak * (1 if sys.platform == 'darwin' else 1024))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    share = int(done.stdout) / 1e9 / MOST_MEMORY_GB
    print(
        f"  peak memory at {SIZES[-1]} triangles {share:.2f} of {MOST_MEMORY_GB:g} GB: "
        f"{verdict(good=share <= 1.0)}"
    )


def main() -> None:
    against_slim()
    growth()
    memory()


if __name__ == "__main__":
    main()
