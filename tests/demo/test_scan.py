"""The scan-like bodies carry each fault that was planted, and mending finds them."""

import hashlib

import numpy as np
import pytest

from layflat.demo import ScanLike, coupe_design, scan_like
from layflat.demo.fields import gradient
from layflat.demo.workshop import ply_bytes
from layflat.surface import mend

SPACING = 34.0


@pytest.fixture(scope="module")
def scan() -> ScanLike:
    return scan_like(coupe_design(), seed=5, spacing_mm=SPACING)


def merged(scan: ScanLike) -> tuple[np.ndarray, np.ndarray]:
    points, inverse = np.unique(scan.mesh.vertices_mm, axis=0, return_inverse=True)
    return points, inverse.reshape(-1)[scan.mesh.faces]


def test_doubled_vertices_lie_exactly_on_their_likes(scan: ScanLike) -> None:
    points, _ = merged(scan)
    assert len(scan.mesh.vertices_mm) - len(points) == scan.planted["doubled vertices"] > 100


def test_flipped_faces_and_strays_are_as_many_as_planted(scan: ScanLike) -> None:
    done = {item.kind: item.count for item in mend(scan.mesh).mends}
    assert done["turned"] == scan.planted["flipped faces"] > 100
    assert done["stray"] == scan.planted["stray shells"] == 12
    assert done["merged"] == scan.planted["doubled vertices"]


def test_holes_are_where_they_were_planted(scan: ScanLike) -> None:
    points, faces = merged(scan)
    used = points[np.unique(faces)]
    for middle in scan.small_holes:
        assert 0.4 * SPACING < np.linalg.norm(used - middle, axis=1).min() < 2.5 * SPACING
    for middle in scan.big_holes:
        assert np.linalg.norm(used - middle, axis=1).min() > 85.0
    assert len(scan.small_holes) == scan.planted["small holes"] >= 4
    assert len(scan.big_holes) == 2


def test_the_noise_is_gaussian_with_the_stated_spread(scan: ScanLike) -> None:
    design = coupe_design()
    points = np.unique(scan.mesh.vertices_mm, axis=0)
    value = design.skin(points)
    # Rims are not moved along the skin, so that only the noise takes them off it.
    rim = (np.abs(points[:, 2] - design.bottom_mm) < 0.4) & (np.abs(value) < 1.0)
    slope = np.linalg.norm(gradient(design.skin, points[rim]), axis=1)
    noise = value[rim] / slope
    assert rim.sum() > 150
    assert noise.std() == pytest.approx(0.1, rel=0.15)
    assert abs(noise.mean()) < 0.03


def test_the_same_seed_gives_the_same_scan_and_another_does_not(scan: ScanLike) -> None:
    def digest(item: ScanLike) -> str:
        return hashlib.sha256(ply_bytes(item, per_mm=0.001)).hexdigest()

    design = coupe_design()
    assert digest(scan_like(design, seed=5, spacing_mm=SPACING)) == digest(scan)
    assert digest(scan_like(design, seed=6, spacing_mm=SPACING)) != digest(scan)
