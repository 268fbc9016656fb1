"""Pictures are checked where a person can say what must be seen."""

import numpy as np
import pytest

from layflat.papers.camera import VIEWS, View
from layflat.papers.raycast import Stage, make_stage
from layflat.papers.render import PAPER, Line, Mark, render
from layflat.papers.shading import Shading, to_linear, to_srgb
from layflat.surface import Mesh

SIZE = (120, 90)
FRONT = View(name="test", azimuth_deg=0, elevation_deg=0, distance=0)


def plate(x: float, *, half: float = 50.0) -> tuple[np.ndarray, np.ndarray]:
    """A square across x, seen from +x."""
    corners = [[x, -half, -half], [x, half, -half], [x, half, half], [x, -half, half]]
    return np.array(corners), np.array([[0, 1, 2], [0, 2, 3]])


def two_plates() -> Mesh:
    """A small plate before a large one."""
    near, near_faces = plate(10.0, half=20.0)
    far, far_faces = plate(0.0)
    return Mesh(np.vstack([near, far]), np.vstack([near_faces, far_faces + 4]))


def pixels(mesh: Mesh | Stage, **options: object) -> np.ndarray:
    options = {"view": FRONT, "size_px": SIZE, "ink": 0.0, **options}
    return np.asarray(render(mesh, **options)).astype(int)  # type: ignore[arg-type]


def test_the_nearer_plate_hides_the_farther_one() -> None:
    colours = np.array([[200, 30, 30]] * 2 + [[30, 30, 200]] * 2, dtype=np.uint8)
    seen = pixels(two_plates(), face_colours=colours, shading=Shading.PLAIN)
    middle, side, corner = seen[45, 60], seen[45, 60 + 30], seen[2, 2]
    assert middle[0] > middle[2] + 80
    assert side[2] > side[0] + 80
    assert tuple(corner) == PAPER


def test_left_is_left_in_every_view_round_the_car() -> None:
    """A post on the car's left (+y) stands on the picture's right from the front, left behind."""
    faces = np.array([[0, 1, 2], [0, 2, 1]])
    frame = np.array([[0, -500, 0], [0, 500, 0], [0, 0, 400]])
    base = Mesh(frame, faces)
    for name, right in (("front", True), ("rear", False)):
        blank = pixels(base, view=VIEWS[name], shading=Shading.PLAIN)
        post = Line(points_mm=[[0, 300, 10], [0, 300, 100]], colour=(255, 0, 0), width_px=3)
        drawn = pixels(base, view=VIEWS[name], shading=Shading.PLAIN, lines=[post])
        columns = np.nonzero(np.abs(drawn - blank).sum(axis=2).sum(axis=0))[0]
        assert len(columns) > 0
        assert (columns.mean() > SIZE[0] / 2) == right


def test_lines_hide_behind_the_surface() -> None:
    blank = pixels(two_plates())
    behind = Line(points_mm=[[0, -10, 0], [0, 10, 0]], colour=(255, 0, 0), width_px=3)
    before = Line(points_mm=[[10, -10, 0], [10, 10, 0]], colour=(255, 0, 0), width_px=3)
    assert (pixels(two_plates(), lines=[behind]) == blank).all()
    assert (pixels(two_plates(), lines=[before])[45, 60] == [255, 0, 0]).all()


def test_a_line_has_the_width_that_was_asked_for() -> None:
    blank = pixels(two_plates(), shading=Shading.PLAIN)
    line = Line(points_mm=[[10, 0, -15], [10, 0, 15]], colour=(0, 0, 0), width_px=4)
    drawn = pixels(two_plates(), shading=Shading.PLAIN, lines=[line])
    cover = (blank - drawn)[45].sum(axis=1) / blank[45].sum(axis=1)
    assert cover.sum() == pytest.approx(4.0, abs=0.5)


def test_the_mesh_fills_the_picture_up_to_the_margin() -> None:
    for view in VIEWS.values():
        sphere = ball(100.0)
        seen = pixels(sphere, view=view, margin=0.1, size_px=(100, 100))
        rows, columns = np.nonzero(np.abs(seen - PAPER).sum(axis=2) > 12)
        assert 78 <= np.ptp(columns) <= 82
        assert 78 <= np.ptp(rows) <= 82


def test_a_ball_is_lighter_above_than_below() -> None:
    seen = pixels(ball(100.0), view=VIEWS["front"], size_px=(100, 100)).sum(axis=2)
    assert seen[30, 50] > seen[75, 50] + 40


def test_the_same_input_gives_the_same_picture() -> None:
    options = {"view": VIEWS["front-left"], "ground": True, "ink": 1.0}
    assert (pixels(ball(80.0), **options) == pixels(ball(80.0), **options)).all()


def test_contours_are_inked_where_depth_jumps() -> None:
    plain = pixels(two_plates(), shading=Shading.PLAIN).sum(axis=2)
    inked = pixels(two_plates(), shading=Shading.PLAIN, ink=1.0).sum(axis=2)
    assert (inked <= plain).all()
    changed = np.abs(inked - plain)[45]
    assert changed[60] == 0
    assert (changed > 60).sum() >= 2


def test_the_ground_is_darker_below_the_mesh() -> None:
    options = {"view": VIEWS["front-left"], "size_px": (120, 120), "margin": 0.2}
    lit, shadowed = (pixels(ball(80.0), ground=ground, **options) for ground in (False, True))
    assert (shadowed <= lit).all()
    assert (lit - shadowed).max() > 30
    assert (shadowed[0] == PAPER).all()


def test_srgb_is_undone() -> None:
    """IEC 61966-2-1: 0.5 in sRGB is 0.214 in linear light (value from memory)."""
    values = np.linspace(0, 1, 50)
    assert to_srgb(to_linear(values)) == pytest.approx(values, abs=1e-12)
    assert float(to_linear(np.array([0.5]))[0]) == pytest.approx(0.2140, abs=1e-4)


def test_a_stage_made_before_gives_the_same_picture() -> None:
    mesh = ball(80.0)
    stage = make_stage(mesh)
    assert (pixels(stage) == pixels(mesh)).all()
    assert (pixels(stage) == pixels(stage)).all()


def test_a_place_under_a_roof_sees_less_sky() -> None:
    near, near_faces = plate(10.0, half=50.0)
    far, far_faces = plate(0.0, half=20.0)
    lying = np.vstack([near, far])[:, [1, 2, 0]]
    mesh = Mesh(lying, np.vstack([near_faces, far_faces + 4]))
    roof, under = make_stage(mesh).smooth[:4, 3], make_stage(mesh).smooth[4:, 3]
    assert roof.min() > under.max()
    assert (make_stage(mesh, sky_directions=0).smooth[:, 3] == 1.0).all()


def test_a_mark_colours_its_part_of_the_near_surface_only() -> None:
    part, faces = plate(10.1, half=8.0)
    mark = Mark(Mesh(part, faces), (0, 0, 255))
    hidden = Mark(Mesh(part - [[30.0, 0.0, 0.0]], faces), (255, 0, 0))
    seen = pixels(two_plates(), marks=[mark, hidden], shading=Shading.PLAIN)
    blue = seen[..., 2] > seen[..., 0] + 60
    assert blue[45, 60]
    scale = 90 * (1 - 2 * 0.06) / 100.0
    assert blue.sum() == pytest.approx((16 * scale) ** 2, rel=0.2)
    assert not (seen[..., 0] > seen[..., 2] + 60).any()


def test_a_picture_of_a_part_has_no_ink_along_its_sides() -> None:
    """What is cut off by the picture's side is no contour."""
    inked = pixels(ball(80.0), focus=plate(70.0, half=20.0)[0], ink=1.0, margin=0.0)
    assert (inked == pixels(ball(80.0), focus=plate(70.0, half=20.0)[0], margin=0.0)).all()


def test_wrong_arrays_are_refused() -> None:
    with pytest.raises(ValueError, match="face colours"):
        pixels(two_plates(), face_colours=np.zeros((3, 3), dtype=np.uint8))
    with pytest.raises(ValueError, match="at least one face"):
        pixels(Mesh(np.zeros((3, 3)), np.zeros((0, 3))))


def ball(radius: float) -> Mesh:
    turns, rises = 48, 25
    turn = np.linspace(0, 2 * np.pi, turns, endpoint=False)
    rise = np.linspace(-np.pi / 2, np.pi / 2, rises)
    turn, rise = np.meshgrid(turn, rise)
    points = np.stack(
        [np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)], axis=-1
    )
    index = np.arange(turns * rises).reshape(rises, turns)
    a, b = index[:-1], np.roll(index, -1, axis=1)[:-1]
    c, d = np.roll(index, -1, axis=1)[1:], index[1:]
    faces = np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)
    return Mesh(radius * points.reshape(-1, 3), faces)
