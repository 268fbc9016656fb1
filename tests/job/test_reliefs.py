"""A cover's reliefs are cut into its piece, and each is said."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from job_workshop import raised, write_workshop
from layflat.base import MeshError
from layflat.film import generic_film
from layflat.job import Piece, laying_advice, make_pieces, read_order
from layflat.pattern import pattern_area_mm2, reliefs_of, to_polygon
from layflat.surface import mend, read_mesh, read_panels

PATHS = ([(-240.0, 10.0), (-190.0, 15.0)], [(-130.0, -140.0), (-130.0, -100.0)])


def piece(folder: Path, paths: tuple[list[tuple[float, float]], ...]) -> Piece:
    order = read_order(write_workshop(folder))
    cover = replace(order.covers[0], reliefs=tuple(raised(path) for path in paths))
    body = mend(read_mesh(folder / "body.ply", unit="m").mesh).mesh
    info = read_panels(folder / "panels.json")
    (made,) = make_pieces(replace(order, covers=(cover,)), body, info, generic_film())
    return made


def test_a_piece_has_the_reliefs_of_its_cover_and_says_them(tmp_path: Path) -> None:
    plain, cut = piece(tmp_path, ()), piece(tmp_path, PATHS)
    assert not any("Relief" in note for note in plain.notes)
    assert [slit.name for slit in reliefs_of(cut.region)] == ["relief 2", "relief 1"]
    # Straight in the plane below the dome, 50.2 and 40 mm; on its slope a little more.
    for number, length in ((1, 51), (2, 41)):
        (note,) = [note for note in cut.notes if note.startswith(f"Relief {number}: ")]
        assert f"a cut {length} mm long" in note
    assert [note[:8] for note in cut.notes if note.startswith("Relief")] == ["Relief 1", "Relief 2"]
    assert to_polygon(cut.pattern).is_valid
    lost = pattern_area_mm2(plain.pattern) - pattern_area_mm2(cut.pattern)
    # Up to half a millimetre for the knife and two round ends: what opens by itself is not lost.
    assert 0.25 * 92 < lost < 0.5 * 92 + 2 * np.pi
    assert cut.flat.energy_mj < plain.flat.energy_mj
    assert np.isfinite(cut.summary.greatest)


def test_a_relief_that_starts_inside_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MeshError, match="“relief 1” must start on an edge") as caught:
        piece(tmp_path, ([(-130.0, 0.0), (-100.0, 0.0)],))
    assert caught.value.panel == "left"


def test_the_parts_of_an_edge_are_one_wrap_and_a_relief_is_no_edge(tmp_path: Path) -> None:
    cut = piece(tmp_path, PATHS)
    advice = " ".join(laying_advice(cut))
    assert "relief" not in advice.lower()
    assert advice.count("front (") == 1
    # Not even where its sides are far longer in the flat than on the car.
    records = tuple(
        replace(record, flat_length_mm=1.2 * record.surface_length_mm)
        if record.name.startswith("relief")
        else record
        for record in cut.pattern.edges
    )
    assert any(record.name == "relief 1" for record in records)
    longer = replace(cut, pattern=replace(cut.pattern, edges=records))
    assert " ".join(laying_advice(longer)) == advice
