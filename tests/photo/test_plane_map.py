"""Homographies against worked examples and what holds for all of them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.photo.plane_map import homography, through

# P. Heckbert, Fundamentals of Texture Mapping and Image Warping (1989), square to quadrilateral,
# closed form, worked by hand; the second computed once with OpenCV's getPerspectiveTransform.
UNIT = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])
QUAD = np.array([(0.0, 0.0), (2.0, 0.0), (1.5, 1.0), (0.5, 1.0)])
SEEN = np.array([(141.0, 131.0), (480.0, 159.0), (493.0, 630.0), (64.0, 601.0)])
BOX = np.array([(0.0, 0.0), (300.0, 0.0), (300.0, 400.0), (0.0, 400.0)])


def scaled(matrix: np.ndarray) -> np.ndarray:
    return matrix / matrix[2, 2]


def test_heckberts_square() -> None:
    matrix = scaled(homography(UNIT, QUAD))
    assert np.allclose(matrix, [[2, 1, 0], [0, 2, 0], [0, 1, 1]], atol=1e-12)
    assert np.allclose(through(matrix, np.array([(0.5, 0.5)])), [(1.0, 2.0 / 3.0)])
    back = scaled(homography(QUAD, UNIT))
    assert np.allclose(back, [[0.5, -0.25, 0], [0, 0.5, 0], [0, -0.5, 1]], atol=1e-12)


def test_quadrilateral_to_rectangle() -> None:
    matrix = scaled(homography(SEEN, BOX))
    expected = [
        [0.920494397, 0.150804401, -149.545086],
        [-0.0935683698, 1.13284562, -135.209636],
        [-8.23318952e-5, 5.89641858e-4, 1.0],
    ]
    assert np.allclose(matrix, expected, rtol=1e-7)
    assert np.allclose(
        through(matrix, np.array([(300.0, 380.0)])), [(153.338647, 222.785671)], atol=1e-5
    )


def cross_ratio(along: np.ndarray) -> float:
    a, b, c, d = along
    return float((c - a) * (d - b) / ((c - b) * (d - a)))


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.floats(-0.1, 0.1), min_size=8, max_size=8),
    st.floats(0.1, 3.0), st.floats(-3.0, 3.0),
)  # fmt: skip
def test_cross_ratios_stay_and_frames_do_not_matter(
    shifts: list[float], scale: float, turn: float
) -> None:
    seen = UNIT + np.reshape(shifts, (4, 2))
    matrix = homography(UNIT, seen)
    line = np.array([(0.1, 0.2), (0.3, 0.35), (0.6, 0.575), (0.9, 0.8)])  # on one line
    image = through(matrix, line)
    along = (image - image[0]) @ (image[3] - image[0])
    assert cross_ratio(along) == pytest.approx(cross_ratio(line[:, 0]), rel=1e-6)
    # Hartley and Zisserman, Multiple View Geometry, section 4.4.4 (from memory): the normalised
    # transform does not depend on the frames' similarities.
    cos, sin = scale * np.cos(turn), scale * np.sin(turn)
    moved = seen @ np.array([(cos, sin), (-sin, cos)]) + (5.0, -2.0)
    again = through(homography(UNIT, moved), line)
    assert np.allclose(again, image @ np.array([(cos, sin), (-sin, cos)]) + (5.0, -2.0), atol=1e-7)


def test_too_few_points_or_points_on_a_line() -> None:
    with pytest.raises(InputError, match="four points"):
        homography(UNIT[:3], QUAD[:3])
    line = np.column_stack((np.arange(5.0), np.arange(5.0)))
    with pytest.raises(InputError, match="one line"):
        homography(line, line)
