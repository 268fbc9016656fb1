"""The renderer's own truth: exact shares of pixels, and OpenCV's projection from outside."""

import cv2
import numpy as np
import pytest
import shapely

from photo.flatbed import Flatbed, linear
from photo.rendered import BLACK, LENSES, Light, Paint, Scene, camera, render

PLAIN = Light(level=1.0, vignette=0.0, tint=(1.0, 1.0, 1.0))


@pytest.mark.parametrize("lens", sorted(LENSES))
def test_projection_is_that_of_opencv_and_rays_come_back(lens: str) -> None:
    seen_by = camera((800, 600), tilt_deg=33.0, towards_deg=-50.0, roll_deg=5.0, lens=lens)
    points = np.random.default_rng(3).uniform(-600.0, 600.0, (40, 2))
    matrix = np.array(
        [
            [seen_by.focal_px, 0.0, seen_by.centre_px[0]],
            [0.0, seen_by.focal_px, seen_by.centre_px[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    turn, _ = cv2.Rodrigues(seen_by.turn)
    theirs, _ = cv2.projectPoints(
        np.column_stack((points, np.zeros(40))),
        turn,
        -seen_by.turn @ seen_by.place_mm,
        matrix,
        np.array(seen_by.lens),
    )
    ours = seen_by.project(points)
    np.testing.assert_allclose(ours, theirs[:, 0], atol=1e-9)
    np.testing.assert_allclose(seen_by.on_table(ours), points, atol=1e-9)


def test_ink_covers_its_exact_share_of_the_pixels() -> None:
    """The lost light of a turned square with a hole is its area, whatever the pixels."""
    shape = shapely.affinity.rotate(shapely.box(-9.3, -7.1, 9.3, 7.1), 23.0)
    shape = shape.difference(shapely.Point(1.0, 0.5).buffer(3.0))
    bed = Flatbed((-15.0, -15.0, 15.0, 15.0), 0.5)
    white = Scene((Paint(shapely.box(-99, -99, 99, 99), (1.0, 1.0, 1.0)),))
    scene = white.with_paints(Paint(shape, (0.0, 0.0, 0.0)))
    photo = render(scene, bed, light=PLAIN, noise=0.0, jpeg=None, blur_px=0.0)  # type: ignore[arg-type]
    lack = 1.0 - linear(photo).astype(np.float64)
    # Bytes of the picture round the light of each pixel, not the area: 1 part in 1000 is left.
    assert lack.sum() * 0.25 == pytest.approx(shape.area, rel=1e-3)
    rows, columns = np.indices(lack.shape)
    middle = np.array([(lack * columns).sum(), (lack * rows).sum()]) / lack.sum()
    np.testing.assert_allclose(bed.on_table(middle[None])[0], shape.centroid.coords[0], atol=0.01)


def test_the_same_seed_gives_the_same_photograph() -> None:
    scene = Scene((Paint(shapely.Point(0, 0).buffer(100.0), BLACK),))
    one, two, other = (
        render(scene, camera((160, 120)), seed=seed, noise=0.02) for seed in (1, 1, 2)
    )
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)
