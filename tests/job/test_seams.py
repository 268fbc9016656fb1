"""A cover's seams part its panel; all that follows has a piece for each part."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from job_workshop import raised, write_workshop
from layflat.base import FloatArray, MeshError
from layflat.film import generic_film
from layflat.fit import OVERLAP_MM
from layflat.job import Piece, covered_words, laying_order, make_pieces, read_order
from layflat.pattern import EdgeFinish, Finish, pattern_area_mm2, reliefs_of
from layflat.surface import EdgeKind, mend, read_mesh, read_panels

SEAM = raised([(-160.0, -140.0), (-160.0, 140.0)])


def pieces(folder: Path, **asked: tuple[FloatArray, ...]) -> tuple[Piece, ...]:
    order = read_order(write_workshop(folder))
    cover = replace(order.covers[0], **asked)  # type: ignore[arg-type]
    # Lines across paint end short in this shop; seams do not.
    finishes = {**order.finishes, EdgeKind.INNER: EdgeFinish(Finish.SHORT, 3.0)}
    order = replace(order, finishes=finishes)
    body = mend(read_mesh(folder / "body.ply", unit="m").mesh).mesh
    info = read_panels(folder / "panels.json")
    return make_pieces(replace(order, covers=(cover,)), body, info, generic_film())


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, tuple[Piece, ...]]:
    folder = tmp_path_factory.mktemp("seams")
    relief = raised([(-240.0, 10.0), (-190.0, 15.0)])
    return {"one": pieces(folder), "two": pieces(folder, seams=(SEAM,), reliefs=(relief,))}


def test_a_seam_gives_two_pieces_that_overlap(both: Mapping[str, tuple[Piece, ...]]) -> None:
    (whole,), (first, second) = both["one"], both["two"]
    assert [whole.name, first.name, second.name] == ["left", "left 1", "left 2"]
    assert [piece.pattern.name for piece in (first, second)] == ["left 1", "left 2"]
    ends = [record for record in second.pattern.edges if record.name == "seam 1"]
    assert [record.finish.finish for record in ends] == [Finish.FLUSH]
    over = sum(p.region.mesh.area_mm2 for p in (first, second)) - whole.region.mesh.area_mm2
    assert over == pytest.approx(OVERLAP_MM * ends[0].surface_length_mm, rel=0.02)
    together = pattern_area_mm2(first.pattern) + pattern_area_mm2(second.pattern)
    assert together - pattern_area_mm2(whole.pattern) == pytest.approx(over, rel=0.15)


def test_each_piece_says_its_seam_and_the_one_on_top_is_laid_later(
    both: Mapping[str, tuple[Piece, ...]],
) -> None:
    for piece in both["two"]:
        (note,) = [note for note in piece.notes if note.startswith("Seam 1: ")]
        assert f"reaches {OVERLAP_MM:g} mm over the seam" in note
    assert covered_words(both["two"][1]).startswith("the whole panel, part 2")
    assert laying_order(both["two"]) == laying_order(both["two"][::-1]) == ("left 2", "left 1")


def test_a_relief_is_cut_into_the_part_that_it_lies_in(
    both: Mapping[str, tuple[Piece, ...]],
) -> None:
    assert [len(reliefs_of(piece.region)) for piece in both["two"]] == [1, 0]


def test_several_seams_part_the_parts(tmp_path: Path) -> None:
    across = raised([(-20.0, 60.0), (-160.0, 60.0)])
    found = pieces(tmp_path, seams=(SEAM[::-1], across))
    assert [piece.name for piece in found] == ["left 1", "left 2", "left 3"]
    areas = [piece.region.mesh.area_mm2 for piece in found]
    # In the plane 140 x 200, 140 x 80 and 80 x 280 mm and the overlaps; the dome is 3 % larger.
    level = [140 * 200 + 3 * 340, 140 * 80 + 3 * 80, 80 * 280]
    assert areas == pytest.approx(level, rel=0.035)
    assert min(np.array(areas) / level) > 0.99


@pytest.mark.parametrize("x", [-120.0, -105.5, -137.0])
def test_a_seam_through_a_keep_out_or_its_clearance_is_refused(tmp_path: Path, x: float) -> None:
    with pytest.raises(MeshError, match="through the keep-out “emblem” or nearer"):
        pieces(tmp_path, seams=(raised([(x, -140.0), (x, 140.0)]),))


def test_a_seam_that_ends_inside_names_its_panel(tmp_path: Path) -> None:
    with pytest.raises(MeshError, match="from edge to edge of the panel: its end") as caught:
        pieces(tmp_path, seams=(raised([(-130.0, -140.0), (-130.0, 0.0)]),))
    assert caught.value.panel == "left"
