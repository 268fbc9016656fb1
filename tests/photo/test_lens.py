"""The camera's model against OpenCV's, and its slopes against differences."""

import cv2
import numpy as np

from layflat.photo.lens import plain_lens, project, project_with_slopes, turn_matrix

RNG = np.random.default_rng(3)
LENS = np.array([np.log(3000.0), 1990.0, 1510.0, -0.1, 0.03, 0.001, -0.002, 0.01])
POSE = np.array([3.0, 0.2, 0.1, -700.0, 400.0, 1500.0])
PLACES = RNG.uniform(0.0, 1500.0, (30, 2))


def test_opencv_projects_alike() -> None:
    matrix = np.array([(3000.0, 0.0, LENS[1]), (0.0, 3000.0, LENS[2]), (0.0, 0.0, 1.0)])
    solid = np.column_stack((PLACES, np.zeros(len(PLACES))))
    theirs = cv2.projectPoints(solid, POSE[:3], POSE[3:], matrix, LENS[3:])[0][:, 0]
    assert np.allclose(project(LENS, POSE, PLACES), theirs, atol=1e-8)
    assert np.allclose(turn_matrix(POSE[:3]), cv2.Rodrigues(POSE[:3])[0], atol=1e-12)


def test_slopes_are_those_of_differences() -> None:
    pixels, by_lens, by_pose, by_place = project_with_slopes(LENS, POSE, PLACES)
    assert np.allclose(pixels, project(LENS, POSE, PLACES), atol=1e-9)
    step = 1e-6
    for values, slopes, at in ((LENS, by_lens, 0), (POSE, by_pose, 1), (None, by_place, 2)):
        for column in range(slopes.shape[2]):
            sides = []
            for sign in (1.0, -1.0):
                lens, pose, places = LENS.copy(), POSE.copy(), PLACES.copy()
                (lens, pose, places.T)[at][column] += sign * step
                sides.append(project(lens, pose, places))
            difference = (sides[0] - sides[1]) / (2.0 * step)
            scale = max(float(np.abs(difference).max()), 1e-6)
            assert np.abs(difference - slopes[:, :, column]).max() < 1e-5 * scale, (at, column)
            assert values is None or np.isfinite(values).all()


def test_what_lies_behind_or_beyond_the_lens_is_not_seen() -> None:
    lens = plain_lens(400, 300, 300.0).values.copy()
    behind = np.array([0.0, 0.0, 0.0, 0.0, 0.0, -100.0])
    assert np.isnan(project(lens, behind, np.zeros((1, 2)))).all()
    lens[3] = -0.5  # turns back where r² = 2/3
    ahead = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 100.0])
    seen = project(lens, ahead, np.array([(50.0, 0.0), (100.0, 0.0)]))
    assert np.isfinite(seen[0]).all()
    assert np.isnan(seen[1]).all()
