"""Panels of what was traced on a block: which side is meant where an outline does not say it."""

import numpy as np
import pytest

from layflat.surface import Mesh, Node, Outline, cut_region, features, prepare
from layflat.web.scanning.panels import panel_on
from layflat.web.scanning.state import Draft, State
from zoo import block

GUESSED = (
    "“cap”: Its outline bends so far over that both its sides could be meant; "
    "the smaller one was taken."
)
# Round the block's four sides; near enough to its edges that no line is shorter over the top.
ROUND = [(-60.0, -50.0), (60.0, -50.0), (100.0, -20.0), (100.0, 20.0)]
ROUND += [(-x, -y) for x, y in ROUND]
ON_TOP = [(-60.0, -30.0), (60.0, -30.0), (60.0, 30.0), (-60.0, 30.0)]


def made(places: list[tuple[float, float]], z: float) -> tuple[Mesh, tuple[str, ...]]:
    """What is cut out along an outline at a height, and what was said."""
    fine = features(prepare(block(3)))
    nodes = tuple(Node((x, y, z), corner=i == 0) for i, (x, y) in enumerate(places))
    draft = Draft("cap", Outline(nodes, closed=True))
    state = State(drafts=(draft,))
    panel, notes = panel_on(fine, draft, state, rotation=np.eye(3), shift_mm=np.zeros(3))
    return cut_region(fine.body, panel).mesh, notes


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize("z", [10.0, -10.0])
def test_of_an_outline_round_a_block_the_smaller_side_is_taken(way: int, z: float) -> None:
    # The top or the bottom, with 15 mm of the sides.
    mesh, notes = made(ROUND[::way], z)
    assert notes == (GUESSED,)
    assert mesh.area_mm2 == pytest.approx(20_000.0 + 15.0 * 600.0, rel=1e-4)
    assert mesh.vertices_mm[:, 2].mean() * z > 0


@pytest.mark.parametrize("way", [1, -1])
def test_of_an_outline_on_one_side_that_side_is_plain(way: int) -> None:
    mesh, notes = made(ON_TOP[::way], 25.0)
    assert notes == ()
    assert mesh.area_mm2 == pytest.approx(120.0 * 60.0, rel=1e-4)
