"""Filling of single holes whose flat triangulation would spoil the mesh."""

import numpy as np
import pytest

from layflat.surface.holes import fill_holes
from layflat.surface.topology import edge_table, manifold_fault


def test_a_hole_whose_diagonal_is_an_edge_already_gets_a_vertex_in_its_middle() -> None:
    """A rim like a dart a, b, c, d, dented at a, so that only a-c can split it; a-c is taken."""
    a, b, c, d, e = [0, 0, 0], [-10, -3, 0], [0, 10, 0], [10, -3, 0], [0, 0, 100]
    wall = np.array([b, c, e], float)
    window = wall.mean(axis=0) + 0.9 * (wall - wall.mean(axis=0))  # the longer hole, kept
    points = np.vstack([[a, b, c, d, e], window])
    faces = np.array(
        [[0, 1, 4], [2, 0, 4], [0, 2, 3],
         [1, 2, 6], [1, 6, 5], [2, 4, 7], [2, 7, 6], [4, 1, 5], [4, 5, 7]]
    )  # fmt: skip
    filled_points, filled, count, _ = fill_holes(points, faces, rim_mm=60.0)
    assert count == 1
    assert manifold_fault(filled) is None
    assert len(filled) == len(faces) + 4
    assert filled_points[-1] == pytest.approx(np.mean([a, b, c, d], axis=0))
    assert edge_table(filled).count.max() == 2
