"""The main job on a small body: everything comes out, whole, checked and said."""

import json
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest

from job_workshop import JOB, RADIUS_MM, write_workshop
from layflat.base import InputError, LayflatError, SettingError, StoppedError, file_sha256
from layflat.cut import generic_machine, machine_toml, read_hpgl
from layflat.film import generic_film
from layflat.job import JobResult, lay_out, read_order, run_job, write_job
from layflat.job.order import CutOrder
from layflat.job.places import best_view
from layflat.nest import Stock, check_layout
from layflat.pattern import Finish, pattern_area_mm2, read_drawing, to_polygon
from layflat.surface import EdgeKind, Mesh


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("shop")
    write_workshop(path)
    return path


@pytest.fixture(scope="module")
def result(folder: Path) -> JobResult:
    return run_job(read_order(folder / "job.toml"))


def test_each_cover_becomes_a_piece(result: JobResult) -> None:
    assert [piece.name for piece in result.pieces] == ["left", "right"]
    left, right = result.pieces
    # Against the area of the dome over a rectangle, by a grid of its own.
    x, y = np.meshgrid(np.linspace(-240, -20, 2001), np.linspace(-140, 140, 2001))
    slant = RADIUS_MM / np.sqrt(RADIUS_MM**2 - x**2 - y**2)
    dome_mm2 = slant.mean() * 220 * 280
    assert left.region.mesh.area_mm2 == pytest.approx(dome_mm2, rel=2e-3)
    # The right one ends at the line, 130 of 220 mm away; a geodesic bulges by some millimetres.
    share = right.region.mesh.area_mm2 / left.region.mesh.area_mm2
    assert share == pytest.approx(130 / 220, rel=0.05)


def test_edges_end_as_ordered(result: JobResult) -> None:
    left, right = result.pieces
    finishes = {record.name: record.finish for record in left.pattern.edges}
    assert finishes["front"].finish is Finish.WRAP
    assert finishes["front"].distance_mm == 6.0
    assert finishes["right"].finish is Finish.SHORT
    ends = {record.name: record.kind for record in right.pattern.edges}
    assert ends["line"] is EdgeKind.INNER
    assert "right" not in ends
    # The cover's own word for an edge goes before the rule for its kind.
    assert finishes["rear"].finish is Finish.SHORT
    assert finishes["rear"].distance_mm == 3.0
    # 280 mm of flat height, a wrap at one end, short at the other; 220 mm of width, short twice.
    x0, y0, x1, y1 = to_polygon(left.pattern).bounds
    sides = sorted((x1 - x0, y1 - y0))
    assert sides[0] == pytest.approx(220 - 2 * 1.5, rel=0.03)
    assert sides[1] == pytest.approx(280 + 6.0 - 3.0, rel=0.02)


def test_keep_outs_on_the_piece_are_left_free(result: JobResult) -> None:
    left, right = result.pieces
    assert [item.name for item in left.keep_outs] == ["emblem"]
    (hole,) = to_polygon(left.pattern).interiors
    # A circle of 15 mm with 2 mm of clearance.
    assert hole.length == pytest.approx(2 * np.pi * 17, rel=0.01)
    assert right.keep_outs == ()
    assert any("“sensor” lies outside" in note for note in right.notes)


def test_the_layout_is_sound_and_priced(result: JobResult) -> None:
    check_layout(result.layout)
    assert result.layout.length_mm >= result.layout.lower_bound_mm
    film = next(line for line in result.price.lines if line.unit == "m")
    assert float(film.quantity) == pytest.approx(result.layout.length_mm / 1000, abs=0.01)


def test_everything_is_written_and_can_be_read_again(result: JobResult, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_job(result, out)
    names = {path.name for path in out.iterdir()}
    assert {"report.json", "layout.dxf", "layout.svg", "cut.plt", "cut-section-1.plt"} <= names
    assert {"price.pdf", "piece-map.pdf", "laying.pdf", "fit-left.pdf", "fit-right.pdf"} <= names
    assert {"piece-left.dxf", "piece-left.obj", "piece-right.dxf", "piece-right.obj"} <= names
    assert all(
        path.read_bytes().startswith(b"%PDF") for path in out.iterdir() if path.suffix == ".pdf"
    )
    assert not ezdxf.readfile(out / "layout.dxf").audit().errors
    (piece,) = read_drawing(out / "piece-left.dxf").patterns
    assert pattern_area_mm2(piece) == pytest.approx(
        pattern_area_mm2(result.pieces[0].pattern), rel=1e-9
    )
    assert len(read_hpgl((out / "cut.plt").read_text())) >= 3


def test_the_report_says_what_it_was_computed_from(
    result: JobResult, folder: Path, tmp_path: Path
) -> None:
    write_job(result, tmp_path / "out")
    report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    assert set(report["inputs"]) == {"job.toml", "panels.json", "body.ply"}
    assert report["inputs"]["body.ply"] == file_sha256(folder / "body.ply")
    assert report["seed"] == 1
    assert report["defaults"]["film"] == generic_film().name
    assert report["defaults"]["stock.gap_mm"] == 4.0
    assert report["pieces"]["left"]["inverted_triangles"] == 0
    assert report["cut"]["tip_error_max_mm"] <= 0.05
    assert report["minutes"]["lay"]["source"].startswith("assumption")
    assert any("sensor" in sentence for sentence in report["warnings"])


def test_pieces_come_out_the_same_every_time(result: JobResult, folder: Path) -> None:
    again = run_job(read_order(folder / "job.toml"))
    for one, two in zip(result.pieces, again.pieces, strict=True):
        assert one.pattern.outline.points_mm.tobytes() == two.pattern.outline.points_mm.tobytes()
        assert one.flat.points_mm.tobytes() == two.flat.points_mm.tobytes()


def test_a_job_that_is_stopped_leaves_nothing(folder: Path, tmp_path: Path) -> None:
    def stop(step: str, fraction: float) -> None:
        if fraction > 0.3:
            raise StoppedError("Enough.")

    with pytest.raises(StoppedError):
        run_job(read_order(folder / "job.toml"), progress=stop)
    assert list(tmp_path.iterdir()) == []


def changed(folder: Path, old: str, new: str) -> JobResult:
    assert old in JOB
    return run_job(read_order(write_workshop(folder, JOB.replace(old, new))))


@pytest.mark.parametrize(
    ("old", "new", "kind", "words"),
    [
        ('panel = "left"', 'panel = "roof"', SettingError, "no panel “roof”; it has left, right"),
        (
            "edges = { rear =",
            "edges = { top =",
            SettingError,
            "no edge “top”",
        ),
        (
            'panel = "left"',
            'panel = "left"\nfilm_over = [{ keep_out = "crest", reason = "so" }]',
            SettingError,
            "no keep-out “crest”",
        ),
        (
            "[price]",
            '[cut]\nfirst = ["roof"]\n[price]',
            SettingError,
            "no piece “roof”.*left, right",
        ),
        ("width_mm = 610", "width_mm = 200", InputError, "“left”"),
        ("[150, -150, 874.6], [150, 150, 874.6]", "[30, 0, 899], [40, 0, 899]", InputError, "line"),
        ('unit = "m"', 'unit = "mm"', InputError, "in m"),
        ('body = "body.ply"', 'body = "gone.ply"', InputError, "does not exist"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(
    tmp_path: Path, old: str, new: str, kind: type[LayflatError], words: str
) -> None:
    with pytest.raises(kind, match=words):
        changed(tmp_path, old, new)


def test_film_goes_over_a_keep_out_only_with_a_reason(tmp_path: Path) -> None:
    order = 'panel = "left"\nfilm_over = [{ keep_out = "emblem", reason = "It comes off." }]'
    left = changed(tmp_path, 'panel = "left"', order).pieces[0]
    assert to_polygon(left.pattern).interiors[:] == []
    assert any("It comes off." in note for note in left.notes)


def test_sections_follow_the_order_of_laying_where_that_is_wished(
    result: JobResult, folder: Path
) -> None:
    order = read_order(folder / "job.toml")
    narrow = replace(
        order.layout,
        stock=Stock(width_mm=340.0, edge_margin_mm=20.0, end_margin_mm=5.0),
        seconds=0.2,
    )
    turns = {"left": 2, "right": 1}
    pieces = tuple(
        replace(piece, cover=replace(piece.cover, lay=turns[piece.name])) for piece in result.pieces
    )

    def sections(cut: CutOrder) -> list[str]:
        wanted = replace(order, layout=replace(narrow, max_section_mm=330.0), cut=cut)
        found = lay_out(wanted, pieces, film=generic_film()).placements
        return [one.pattern.name for one in sorted(found, key=lambda one: one.section)]

    # The fuller section first, unless laying says otherwise.
    assert sections(CutOrder()) == ["left", "right"]
    assert sections(CutOrder(in_laying_order=True)) == ["right", "left"]


def test_film_with_a_direction_is_not_turned(tmp_path: Path) -> None:
    film = tmp_path / "matt.toml"
    film.write_text(
        'name = "matt"\nthickness_um = 150\nyoungs_modulus_mpa = 30\npoisson_ratio = 0.45\n'
        "stretch_limit = 0.05\nfinger_limit = 0.02\none_direction = true\n"
    )
    order = JOB.replace("seconds = 1", "seconds = 1\nturns_deg = [90]")
    wishes = '[cut]\nfirst = ["right"]\nstrips_mm = 60\ntabs = 2\ntab_mm = 0.5\n[price]'
    wished = order.replace("[price]", wishes)
    clear = run_job(read_order(write_workshop(tmp_path, wished)))
    assert {placement.turn_deg for placement in clear.layout.placements} == {90.0}
    (section,) = clear.program.sections
    assert [name.split()[-1] for name in section.pieces] == ["right", "left"]
    assert any(cut.kind == "weed line" for cut in section.cuts)
    assert [(one.kind, one.length_mm) for one in section.bridges] == [("tab", 0.5)] * 4
    assert any("tabs of 0.5 mm" in note for note in clear.report.warnings)
    order = order.replace('unit = "m"', 'unit = "m"\nfilm = "matt.toml"')
    result = run_job(read_order(write_workshop(tmp_path, order)))
    assert {placement.turn_deg for placement in result.layout.placements} == {0.0}
    assert any("has a direction" in note for note in result.report.warnings)
    assert result.report.inputs["matt.toml"] == file_sha256(film)


def test_sections_are_written_where_all_in_one_go_would_leave_the_machine(tmp_path: Path) -> None:
    walks = replace(generic_machine(), walk=0.05)
    (tmp_path / "walks.toml").write_text(machine_toml(walks), encoding="utf-8")
    stock = "width_mm = 400\nedge_margin_mm = 22\nmax_section_mm = 400"
    order = JOB.replace("width_mm = 610", stock).replace(
        'unit = "m"', 'unit = "m"\nmachine = "walks.toml"'
    )
    result = run_job(read_order(write_workshop(tmp_path, order)))
    assert len(result.program.sections) == 2
    write_job(result, tmp_path / "out")
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"cut-section-1.plt", "cut-section-2.plt"} <= names
    assert "cut.plt" not in names
    assert any("All 2 sections in one go" in sentence for sentence in result.report.warnings)


@pytest.mark.parametrize(
    ("normal", "view"),
    [
        ((1.0, 1.0, 0.3), "front-left"),
        ((1.0, -1.0, 0.3), "front-right"),
        ((-1.0, 1.0, 0.3), "rear-left"),
        ((-1.0, -1.0, 0.3), "rear-right"),
    ],
)
def test_a_piece_is_pictured_from_the_quarter_that_sees_it(
    normal: tuple[float, float, float], view: str
) -> None:
    facing = np.array(normal)
    across = np.cross((0.0, 0.0, 1.0), facing)
    corners = np.array([-across, across, np.cross(facing, across)])
    mesh = Mesh(corners, np.array([[0, 1, 2]]))
    assert best_view(mesh).name == view
