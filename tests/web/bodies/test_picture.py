"""From which corner a vehicle is seen; a box stands for it, ahead along x, its left along y."""

import numpy as np
import pytest
import trimesh

from layflat.papers import View
from layflat.surface import Mesh
from layflat.web.bodies.picture import corner_view

NORMALS = {"front": (1, 0), "rear": (-1, 0), "left": (0, 1), "right": (0, -1)}


def side(name: str) -> Mesh:
    """One side of a box of 4 x 2 x 1 m."""
    box = trimesh.creation.box(extents=(4000.0, 2000.0, 1000.0))
    faces = box.faces[box.face_normals[:, :2] @ np.array(NORMALS[name]) > 0.9]
    return Mesh(np.array(box.vertices), np.array(faces))


def towards(view: View) -> np.ndarray:
    """Where the eye stands, on the ground."""
    angle = np.radians(view.azimuth_deg)
    return np.array([np.cos(angle), np.sin(angle)])


@pytest.mark.parametrize("ahead", ["front", "rear"])
@pytest.mark.parametrize("across", ["left", "right"])
def test_the_eye_stands_where_the_film_faces(ahead: str, across: str) -> None:
    view = corner_view([side(ahead), side(across)])
    assert view.name == f"{ahead}-{across}"
    eye = towards(view)
    assert eye @ np.array(NORMALS[ahead]) > 0.5
    assert eye @ np.array(NORMALS[across]) > 0.5


@pytest.mark.parametrize("names", [(), ("left", "right"), ("front", "rear", "left", "right")])
def test_film_that_faces_no_side_is_seen_from_the_left_front(names: tuple[str, ...]) -> None:
    assert corner_view([side(name) for name in names]).name == "front-left"
