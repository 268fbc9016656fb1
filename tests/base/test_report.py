"""A report is plain JSON that says what it was computed from."""

import json
from pathlib import Path

import numpy as np

import layflat
from layflat.base import Report, part_of, report_json


def test_a_report_carries_version_inputs_seed_and_results(tmp_path: Path) -> None:
    path = tmp_path / "panel.obj"
    path.write_text("v 0 0 0\n")
    report = Report(
        kind="flatten",
        inputs=Report.hashes(path),
        results={"energy_mj": np.float64(1 / 3), "counts": np.array([1, 2]), "worst": float("nan")},
        seed=7,
        defaults={"finger_aversion": 1.0},
        warnings=("A hole was filled.",),
    )
    read = json.loads(report_json(report))
    assert read["layflat"] == layflat.__version__
    assert read["kind"] == "flatten"
    assert list(read["inputs"]) == ["panel.obj"]
    assert len(read["inputs"]["panel.obj"]) == 64
    assert read["seed"] == 7
    assert read["defaults"] == {"finger_aversion": 1.0}
    assert read["warnings"] == ["A hole was filled."]
    assert read["energy_mj"] == 0.3333333333
    assert read["counts"] == [1, 2]
    assert read["worst"] is None


def test_progress_of_a_part_is_mapped_into_the_whole() -> None:
    seen: list[tuple[str, float]] = []
    part = part_of(lambda step, x: seen.append((step, x)), start=0.5, end=0.7, prefix="hood: ")
    for fraction in (-1.0, 0.0, 0.5, 2.0):
        part("flatten", fraction)
    assert [round(x, 12) for _, x in seen] == [0.5, 0.5, 0.6, 0.7]
    assert seen[0][0] == "hood: flatten"


def test_files_of_one_name_are_told_apart(tmp_path: Path) -> None:
    paths = [tmp_path / "a" / "hood.dxf", tmp_path / "b" / "hood.dxf", tmp_path / "c.dxf"]
    for path in paths:
        path.parent.mkdir(exist_ok=True)
        path.write_text(str(path))
    hashes = Report.hashes(*paths, paths[0])
    assert list(hashes) == [paths[0].as_posix(), paths[1].as_posix(), "c.dxf"]
    assert len(set(hashes.values())) == 3
