"""The real computation: the job's own, with files that tell of the same triangles."""

import dataclasses
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import trimesh
from PIL import Image

from job_workshop import JOB, raised
from layflat.base import InputError, LayflatError, StoppedError, report_json, silent
from layflat.job import Computed, JobResult, compute, read_order, run_job
from layflat.pattern import pattern_json, read_pattern_json
from layflat.web.bodies.mended import mended_scan
from layflat.web.cover import compute as computing
from layflat.web.cover.choices import Choices, PanelChoice, to_json
from layflat.web.cover.compute import compute_cover
from layflat.web.cover.measure import revision_inputs
from layflat.web.cover.price import priced
from layflat.web.cover.seamed import TASK as SEAMS
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of
from layflat.web.people.models import Shop
from web.cover.domes import BOTH, KEEP, LEFT, LINE, RIGHT_PART, Domes

pytestmark = pytest.mark.on_sqlite


def inputs(domes: Domes, choices: Choices, *, roll_mm: float = 610.0) -> dict[str, Any]:
    return {
        **revision_inputs(domes.revision),
        "choices": to_json(choices),
        "roll_width_mm": roll_mm,
        "seconds": 1.0,
        "keeps": computing.KEEPS,
    }


def found(domes: Domes, choices: Choices) -> dict[str, Any]:
    result = domes.result("cover.compute", inputs(domes, choices))
    assert json.loads(json.dumps(result)) == result
    return result


def kept(sha256: str) -> bytes:
    assert StoredFile.objects.filter(sha256=sha256).exists()
    return path_of(sha256).read_bytes()


def by_the_command_line(domes: Domes, covers: str) -> JobResult:
    """The same order as a job file, computed without any of the web's code."""
    head, tail = JOB[: JOB.index("[finish]")], JOB[JOB.index("[price]") :]
    head = head.replace("seconds = 1", "seconds = 1\nturns_deg = [0, 90, 180, 270]")
    path = domes.folder / "order.toml"
    path.write_text(f"finger_aversion = 2.0\n{head}{covers}\n{tail}", encoding="utf-8")
    return run_job(read_order(path))


LEFT_TOML = """
[[cover]]
panel = "left"
edges = { front = { finish = "wrap", distance_mm = 6 } }
"""
RIGHT_TOML = """
[[cover]]
panel = "right"
line_mm = [[150, -150, 874.6], [150, 150, 874.6]]
keep_mm = [60, 0, 895]
"""


@pytest.mark.parametrize(("choice", "covers"), [(LEFT, LEFT_TOML), (RIGHT_PART, RIGHT_TOML)])
def test_pieces_and_price_are_those_of_the_job(
    domes: Domes, shop: Shop, choice: PanelChoice, covers: str
) -> None:
    result = found(domes, Choices((choice,)))
    job = by_the_command_line(domes, covers)
    flat = json.loads(kept(result["pieces"][0]["flat"]))
    points = np.reshape(flat["points"], (-1, 2))
    # The web's scan went through a kept archive, the job's through its reader and mending.
    assert np.abs(points - job.pieces[0].flat.points_mm).max() <= 0.00051
    assert result["film_mm"] == job.layout.length_mm
    assert result["bound_mm"] == job.layout.lower_bound_mm
    price = priced(result["film_mm"], result["minutes"], shop)
    assert price == job.price


def test_a_piece_s_pattern_is_kept_exactly(domes: Domes, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[Any] = []

    def watched(*args: Any, **options: Any) -> Computed:
        seen.append(compute(*args, **options))
        return seen[0]

    monkeypatch.setattr(computing, "compute", watched)
    result = compute_cover(inputs(domes, Choices((LEFT,))), silent)
    pattern = read_pattern_json(json.loads(kept(result["pieces"][0]["pattern"])))
    assert pattern_json(pattern) == pattern_json(seen[0].pieces[0].pattern)
    assert result["pieces"][0]["details"]["lay"] == 1


def test_how_each_piece_is_laid_is_kept(domes: Domes) -> None:
    (piece,) = found(domes, Choices((LEFT,)))["pieces"]
    plan = piece["details"]["plan"]
    assert plan["hold"][0].startswith("Anchor at O: ")
    assert len(plan["wipes"]) >= 2
    # A shallow dome: liner and car agree to what a tape tells, and nothing fingers.
    assert (plan["tapes"], plan["fingers"]) == ([], [])
    picture = kept(piece["plan"])
    assert picture.startswith(b"<svg")
    assert b">O</text>" in picture


def test_a_cut_that_is_taken_is_made_and_a_refused_one_is_no_hindrance(domes: Domes) -> None:
    path = tuple(map(tuple, raised([(-130.0, -140.0), (-130.0, -100.0)]).tolist()))
    plain = found(domes, Choices((LEFT,)))["pieces"][0]
    cut = found(
        domes, Choices((dataclasses.replace(LEFT, reliefs=(path,), refused_reliefs=(path,)),))
    )
    (piece,) = cut["pieces"]
    assert piece["area_mm2"] < plain["area_mm2"]
    assert any("relief" in warning.lower() for warning in piece["warnings"])
    assert plain["details"]["reliefs"]["proposals"] == []
    found_cuts = piece["details"]["reliefs"]
    assert found_cuts["sentences"]
    (taken,) = found_cuts["taken"]
    assert taken["path"] == [list(point) for point in np.round(path, 3).tolist()]
    # Nothing hides a dome's top, and in the flat the cut is as long as on the car.
    assert taken["visible_mm"] == pytest.approx(40.0, abs=4.0)
    assert np.linalg.norm(np.subtract(*taken["flat"])) == pytest.approx(40.0, abs=1.0)


def test_wraps_and_a_blank_are_kept_without_prices(domes: Domes) -> None:
    (piece,) = found(domes, Choices((LEFT,)))["pieces"]
    details = piece["details"]
    assert details["panel"] == "left"
    (wrap,) = details["wraps"]
    assert (wrap["name"], wrap["wanted_mm"]) == ("front", 6.0)
    assert 0.0 <= wrap["least_mm"] <= wrap["most_mm"] <= 6.0
    assert bool(wrap["why"]) == (wrap["least_mm"] < 6.0)
    # The dome's halves differ in their keep-outs alone, and only one of them is covered here.
    assert details["pair"] is None
    blank = details["blank"]
    # The emblem stays free: nobody trims there on the car.
    assert not blank["take"]
    assert any("emblem" in sentence for sentence in blank["against"])
    assert min(blank["blank_mm2"], blank["fitted_mm2"]) > piece["area_mm2"]
    assert blank["beside_paint_mm"] + blank["on_paint_mm"] <= blank["trimmed_mm"]
    assert not any("cost" in str(value) for value in blank.values())


def test_one_piece_is_compared_with_two_and_parted_where_it_was_taken(domes: Domes) -> None:
    across = raised([(-60.0, y) for y in np.linspace(-140.0, 140.0, 7)])
    seam = tuple(map(tuple, across.tolist()))
    cover = Choices((dataclasses.replace(LEFT, seams=(seam,)),))
    first, second = sorted(found(domes, cover)["pieces"], key=lambda piece: str(piece["panel"]))
    assert [first["panel"], second["panel"]] == ["left 1", "left 2"]
    assert {first["details"]["panel"], second["details"]["panel"]} == {"left"}
    whole = found(domes, Choices((LEFT,)))["pieces"][0]
    # One reaches 3 mm over the other, about 280 mm long.
    over_mm2 = first["area_mm2"] + second["area_mm2"] - whole["area_mm2"]
    assert over_mm2 == pytest.approx(3.0 * 280.0, rel=0.25)
    compared = domes.result(
        SEAMS, inputs(domes, Choices((PanelChoice(panel="left"),))) | {"keeps": ""}
    )
    assert not compared["needed"]
    assert "One piece will do" in compared["sentences"][0]
    one = compared["whole"]
    assert (one["seam_mm"], one["fits_roll"]) == (0.0, True)
    for way in compared["options"]:
        assert way["seam_mm"] >= way["visible_mm"] >= 0.0
        assert len(way["flat"]) == len(way["path"]) >= 2
        assert way["minutes"] > one["minutes"]


def test_what_an_outcome_says(domes: Domes) -> None:
    result = found(domes, BOTH)
    assert result["film_mm"] >= result["bound_mm"] > 0
    numbers = {piece["panel"]: piece["number"] for piece in result["pieces"]}
    assert sorted(numbers) == ["left", "right"]
    assert [piece["number"] for piece in result["pieces"]] == [1, 2]
    pieces = {piece["panel"]: piece for piece in result["pieces"]}
    left, right = pieces["left"], pieces["right"]
    assert left["covered"] == "the whole panel, wrapped round: front"
    assert right["covered"] == "up to the line agreed, ending just short of its edges"
    assert (left["is_part"], right["is_part"]) == (False, True)
    assert left["details"]["free"] == [
        {
            "name": "emblem",
            "word": "stays on; film over an emblem that hides a radar can blind it",
        }
    ]
    assert {edge["name"]: edge["finish"] for edge in left["details"]["edges"]} == {
        "front": "wrap", "right": "short", "rear": "short", "left": "short"
    }  # fmt: skip
    # The part's sensor lies beyond the line; what was said of it holds no coordinates.
    assert any("“sensor” lies outside" in sentence for sentence in right["warnings"])
    report = json.loads(kept(result["report"]))
    assert report["kind"] == "cover"
    assert report["defaults"]["machine"] == "Generic drag-knife plotter"
    assert report["defaults"]["stock.seconds"] == 1.0
    assert report["choices"] == to_json(BOTH)
    assert set(report["minutes"]) == set(result["minutes"])
    assert Image.open(io.BytesIO(kept(result["picture"]))).size == (960, 600)
    assert kept(result["layout"]).startswith(b"<svg")


def test_the_vehicle_is_shown_with_its_film(domes: Domes) -> None:
    result = found(domes, BOTH)
    scene = trimesh.load_scene(io.BytesIO(kept(result["shown"])), file_type="glb", process=False)
    numbers = {piece["panel"]: piece["number"] for piece in result["pieces"]}
    surfaces = {f"piece-{number}" for number in numbers.values()}
    assert {"body", *surfaces} < set(scene.geometry)
    lines = json.loads(kept(result["lines"]))
    entries = {entry["name"]: entry for entry in lines["panels"]}
    assert {name: entry["mesh"] for name, entry in entries.items()} == {
        name: f"piece-{number}" for name, number in numbers.items()
    }
    assert [edge["name"] for edge in entries["left"]["edges"]] == ["front", "right", "rear", "left"]
    assert "line" in {edge["name"] for edge in entries["right"]["edges"]}
    assert "right" not in {edge["name"] for edge in entries["right"]["edges"]}
    free = [item["name"] for item in entries["left"]["keep_outs"]]
    assert free == ["emblem"]
    assert entries["left"]["keep_outs"][0]["mesh"] in scene.geometry
    # The part ends at the line: 130 of the panel's 220 mm.
    whole = scene.geometry[f"piece-{numbers['left']}"].area
    assert scene.geometry[f"piece-{numbers['right']}"].area / whole == pytest.approx(0.59, abs=0.03)


def test_triangles_are_the_same_on_the_vehicle_and_in_the_flat(domes: Domes) -> None:
    for piece in found(domes, BOTH)["pieces"]:
        flat = json.loads(kept(piece["flat"]))
        scene = trimesh.load_scene(
            io.BytesIO(kept(piece["surface"])), file_type="glb", process=False
        )
        surface = scene.geometry["piece"]
        faces = np.reshape(flat["faces"], (-1, 3))
        assert np.array_equal(surface.faces, faces)
        points = np.reshape(flat["points"], (-1, 2))
        a, b, c = (points[faces[:, i]] for i in range(3))
        flat_mm2 = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
        assert (flat_mm2 > 0).all()
        # What the film's two stretches make of a triangle of the flat is the triangle on the car.
        both = (1 + np.array(flat["stretch"])) * (1 - np.array(flat["compression"]))
        ratio = surface.area_faces / flat_mm2 / both
        # Files hold micrometres and ten-thousandths, which a splinter's area feels.
        assert np.abs(ratio - 1)[flat_mm2 > 5.0].max() < 2e-3
        assert np.average(ratio, weights=flat_mm2) == pytest.approx(1.0, abs=2e-4)
        assert max(flat["stretch"]) == pytest.approx(piece["stretch"], abs=1e-4)


def test_the_map_is_where_the_flat_is(domes: Domes) -> None:
    for piece in found(domes, BOTH)["pieces"]:
        flat = json.loads(kept(piece["flat"]))
        a, b, c, d, e, f = flat["map"]["to_map"]
        corners = np.reshape(flat["box"], (2, 2))
        placed = corners @ [[a, b], [c, d]] + [e, f]
        size = (flat["map"]["width_mm"], flat["map"]["height_mm"])
        assert (placed > -1e-6).all()
        assert (placed < np.array(size) + 1e-6).all()
        assert f'viewBox="0 0 {size[0]:g} {size[1]:g}"'.encode() in kept(piece["map"])
        # Up on the map is up in the flat, and nothing is mirrored but y, as on a screen.
        assert a * d - b * c < 0
        assert np.hypot(a, b) == pytest.approx(np.hypot(c, d))
        # The outline that is cut encloses about the film's area.
        outline = shapely.Polygon(np.reshape(flat["outline"], (-1, 2)))
        holes = sum(shapely.Polygon(np.reshape(hole, (-1, 2))).area for hole in flat["cut_outs"])
        assert outline.area - holes == pytest.approx(piece["area_mm2"], rel=1e-3)


def test_film_over_a_keep_out_is_one_hole_less_and_is_said(domes: Domes) -> None:
    over = dataclasses.replace(LEFT, film_over={"emblem": "There is no radar behind it."})
    (piece,) = found(domes, Choices((over,)))["pieces"]
    assert piece["details"]["free"] == []
    assert piece["details"]["film_over"] == [
        {"name": "emblem", "reason": "There is no radar behind it."}
    ]
    assert json.loads(kept(piece["flat"]))["cut_outs"] == []
    assert any("There is no radar behind it." in sentence for sentence in piece["warnings"])


def stop_after(share: float) -> Callable[[str, float], None]:
    def told(_step: str, part: float) -> None:
        if part > share:
            raise StoppedError

    return told


@pytest.mark.parametrize("share", [0.02, 0.9])
def test_stopping_leaves_nothing(domes: Domes, share: float) -> None:
    before = set(StoredFile.objects.values_list("pk", flat=True))
    with pytest.raises(StoppedError):
        compute_cover(inputs(domes, Choices((LEFT,))), stop_after(share))
    assert set(StoredFile.objects.values_list("pk", flat=True)) == before


def test_steps_are_told_in_order_and_in_words(domes: Domes) -> None:
    steps: list[tuple[str, float]] = []
    compute_cover(inputs(domes, Choices((LEFT,))), lambda *step: steps.append(step))
    shares = [share for _, share in steps]
    assert shares == sorted(shares)
    words = [step for step, _ in steps]
    assert words[0] == "reading the body"
    assert "laying the pieces out on the roll" in words
    assert "drawing the vehicle with its film" in words
    assert any(step.startswith("Left: flattening") for step in words)


@pytest.mark.parametrize(
    ("choices", "roll_mm", "words"),
    [
        (Choices(), 610.0, "Nothing is covered yet"),
        (Choices((LEFT,)), 240.0, r"“Left” is \d+\.\d mm too large.*wider|another roll"),
        (Choices((PanelChoice(panel="roof"),)), 610.0, "no panel “roof”"),
        (
            Choices((PanelChoice(panel="left", film_over={"lock": "x"}),)),
            610.0,
            "The panel “Left” has no keep-out “lock”",
        ),
        (
            Choices((PanelChoice(panel="right", line_mm=LINE[:1] * 2, keep_mm=KEEP),)),
            610.0,
            "^Right: the line",
        ),
        (
            Choices(
                (
                    PanelChoice(
                        panel="right",
                        line_mm=(LINE[0], (150.0, 0.0, 887.4)),
                        keep_mm=KEEP,
                    ),
                )
            ),
            610.0,
            "^Right: the line that film ends at must run from edge to edge of the panel: its end",
        ),
    ],
)
def test_what_cannot_be_computed_names_the_panel_in_one_sentence(
    domes: Domes, choices: Choices, roll_mm: float, words: str
) -> None:
    with pytest.raises(LayflatError, match=words) as caught:
        compute_cover(inputs(domes, choices, roll_mm=roll_mm), lambda *_: None)
    assert "(150" not in str(caught.value)


def test_a_lost_archive_of_the_mended_scan_is_made_good(domes: Domes) -> None:
    asked = revision_inputs(domes.revision)
    usual = mended_scan(asked, silent)
    archive: Path = path_of(asked["mended"])
    data = archive.read_bytes()
    archive.unlink()
    try:
        again = mended_scan(asked, silent)
    finally:
        archive.write_bytes(data)
    for one in (again, mended_scan({**asked, "mended": ""}, silent)):
        assert one.mesh.vertices_mm.tobytes() == usual.mesh.vertices_mm.tobytes()
        assert one.mesh.faces.tobytes() == usual.mesh.faces.tobytes()
        assert (one.unit, one.notes) == (usual.unit, usual.notes)


def test_a_body_that_is_not_prepared_is_said(domes: Domes) -> None:
    domes.revision.light = None
    with pytest.raises(InputError, match="not prepared yet"):
        revision_inputs(domes.revision)


def test_reports_are_text(domes: Domes) -> None:
    # The recipe's own report and this one share their words.
    job = by_the_command_line(domes, LEFT_TOML)
    theirs = json.loads(report_json(job.report))
    ours = json.loads(kept(found(domes, Choices((LEFT,)))["report"]))
    for key in ("pieces", "layout", "cut", "minutes"):
        assert set(ours[key]) == set(theirs[key])
