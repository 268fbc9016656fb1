"""Fit notes drawn from a known warp: how near three cars bring a demo panel's pattern to it."""

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bench.flatten import verdict
from layflat.base import FloatArray
from layflat.demo import write_workshop
from layflat.film import read_film
from layflat.job import Cover, make_piece, read_order
from layflat.pattern import Pattern
from layflat.revise import Note, NoteKind, Outline, Spot, revise
from layflat.surface import mend, read_mesh, read_panels

MOST_RMS_MM = 0.3
NOISE_MM = 0.5
WARP_MM = 2.0
CARS = 3
EVERY_MM = 150.0
LEAST_NOTES = 24
SEEDS = range(20)
PANELS = ("fender-left", "mirror-left", "hood")
_MODES = 6


@dataclass(frozen=True)
class Tried:
    """Misfits of one try: root mean square before, after, and the greatest after, in mm."""

    before_mm: float
    after_mm: float
    most_mm: float


def warp(rng: np.random.Generator, size_mm: float, mm: float) -> Callable[[FloatArray], FloatArray]:
    """A smooth field of *mm* root mean square, its waves one to three times as long as a panel."""
    turn = rng.uniform(0.0, np.pi, _MODES)
    wave = 2.0 * np.pi / (size_mm * rng.uniform(1.0, 3.0, _MODES))
    ways = np.column_stack((np.cos(turn), np.sin(turn))) * wave[:, None]
    phase = rng.uniform(0.0, 2.0 * np.pi, _MODES)
    high = rng.normal(size=(_MODES, 2)) * mm / np.sqrt(_MODES)
    return lambda points: np.cos(points @ ways.T + phase) @ high


def tried(
    pattern: Pattern,
    seed: int,
    *,
    cars: int = CARS,
    per_car: int = LEAST_NOTES,
    car_mm: float = 0.0,
    odd_mm: float = 0.0,
    noise_mm: float = NOISE_MM,
) -> Tried:
    """Notes of some cars on a warped pattern, and how far the revision is from it.

    Args:
        pattern: the pattern.
        seed: of the warp, the places and the errors.
        cars: how many.
        per_car: how many notes each has.
        car_mm: each car's own laying error, a warp too.
        odd_mm: by how much the first car's notes are all off beside that.
        noise_mm: of reading.
    """
    rng = np.random.default_rng(seed)
    outline = Outline(pattern.outline, pattern.outline_corners)
    size = float(np.ptp(pattern.outline.points_mm, axis=0).max())
    truth = warp(rng, size, WARP_MM)
    notes = []
    for car in range(cars):
        laying = warp(rng, size, car_mm)
        at = (np.arange(per_car) + rng.uniform(0.0, 1.0, per_car)) / per_car * outline.length_mm
        points, normals = outline.points(at), outline.normals(at)
        lacks = np.einsum("ij,ij->i", normals, truth(points) + laying(points))
        lacks += rng.normal(0.0, noise_mm, per_car) + (odd_mm if car == 0 else 0.0)
        notes += [
            Note(
                NoteKind.SHORT if lack > 0 else NoteKind.OVER,
                Spot(point_mm=(float(x), float(y))),
                mm=(abs(float(lack)),),
                doubt_mm=noise_mm,
                car=f"car {car + 1}",
                confirmed=True,
            )
            for (x, y), lack in zip(points, lacks, strict=True)
        ]
    made = revise(pattern, notes)
    points = outline.points(np.arange(0.0, outline.length_mm, 5.0))
    goal = points + truth(points)
    after = Outline(made.pattern.outline, made.pattern.outline_corners)
    before, left = outline.nearest(goal)[1], after.nearest(goal)[1]
    return Tried(
        float(np.sqrt(np.mean(before**2))),
        float(np.sqrt(np.mean(left**2))),
        float(left.max()),
    )


def demo_patterns() -> dict[str, Pattern]:
    """The patterns of some panels of the demo's coupe."""
    with tempfile.TemporaryDirectory() as name:
        shop = Path(name) / "shop"
        shop.mkdir()
        write_workshop(shop)
        order = read_order(shop / "coupe-job.toml")
        film = read_film(order.film) if order.film else None
        assert film is not None
        mesh = mend(read_mesh(order.body, unit=order.unit).mesh).mesh
        panels = {panel.name: panel for panel in read_panels(order.panels).panels}
        return {
            name: make_piece(order, Cover(panel=name), panels[name], mesh, film).pattern
            for name in PANELS
        }


def main() -> None:
    for name, pattern in demo_patterns().items():
        length = Outline(pattern.outline, pattern.outline_corners).length_mm
        per_car = max(LEAST_NOTES, round(length / EVERY_MM))
        print(f"{name}, outline {length:.0f} mm, seeds {SEEDS.start} to {SEEDS.stop - 1}:")
        for words, options in (
            ("1 car", {"cars": 1}),
            ("3 cars", {}),
            ("3 cars, each laid 0.4 mm off", {"car_mm": 0.4}),
            ("5 cars, one of them 3 mm off", {"cars": 5, "odd_mm": 3.0}),
        ):
            found = [tried(pattern, seed, per_car=per_car, **options) for seed in SEEDS]  # type: ignore[arg-type]
            rms = float(np.mean([item.after_mm for item in found]))
            before = float(np.mean([item.before_mm for item in found]))
            print(
                f"  {words}, {per_car} notes each: RMS {before:.2f} mm before, "
                f"{rms:.3f} after (worst seed {max(f.after_mm for f in found):.3f}), "
                f"{max(f.most_mm for f in found):.2f} mm at most"
                + (f": {verdict(good=rms <= MOST_RMS_MM)}" if words == "3 cars" else "")
            )


if __name__ == "__main__":
    main()
