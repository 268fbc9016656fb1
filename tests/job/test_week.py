"""A week's file to layouts, words and a report: small pieces, read back from what was written."""

import json
from pathlib import Path

import pytest

from layflat.base import InputError, SettingError, file_sha256
from layflat.cli.main import main
from layflat.job import read_week, run_week
from layflat.pattern import read_drawing

SHAPES = """<svg xmlns="http://www.w3.org/2000/svg" width="600mm" height="500mm"
  viewBox="0 0 600 500"><g id="OUTLINE"><rect x="5" y="5" width="500" height="200"/>
  <rect x="5" y="250" width="300" height="200"/></g></svg>"""
WEEK = """
seconds = 1
[rates]
currency = "EUR"
per_hour = 60
[[piece]]
job = "K-0412"
drawing = "shapes.svg"
film = "gloss"
[[piece]]
job = "K-0413"
drawing = "shapes.svg"
film = "gloss"
copies = 2
lay = 1
[[stock]]
name = "R/07"
film = "gloss"
kind = "clear"
lot = "T-1"
width_mm = 914
length_mm = 4000
per_m2 = 40
[[stock.faults]]
start_mm = 500
end_mm = 520
reason = "crease"
[[stock]]
name = "O-03"
film = "gloss"
kind = "clear"
lot = "T-0"
width_mm = 500
length_mm = 560
per_m2 = 40
offcut = true
[[past]]
film = "gloss"
sizes_mm = [[400, 300], [900, 500]]
"""


@pytest.fixture
def week(tmp_path: Path) -> Path:
    (tmp_path / "shapes.svg").write_text(SHAPES, encoding="utf-8")
    path = tmp_path / "week.toml"
    path.write_text(WEEK, encoding="utf-8")
    return path


def test_the_plan_is_written_in_words_in_numbers_and_as_layouts(
    week: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = week.parent / "out"
    assert main(["week", str(week), "-o", str(folder)]) == 0
    said = capsys.readouterr().out
    report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert report["kind"] == "week"
    assert report["inputs"]["shapes.svg"] == file_sha256(week.parent / "shapes.svg")
    assert report["lower_bound"] <= report["cost"] <= report["each_job_alone"]
    assert "no plan of them costs less than EUR" in said
    assert said.splitlines()[1:3] == (folder / "plan.txt").read_text("utf-8").splitlines()[1:3]
    named = []
    for name, use in zip(report["files"], report["uses"], strict=True):
        drawing = read_drawing(folder / f"{name}.dxf")
        assert len(drawing.stock) == len(use["layout"]["sections"])
        assert len(drawing.patterns) == len(use["jobs"])
        named += [pattern.name for pattern in drawing.patterns]
        account = use["account_mm"]
        parts = sum(account[f"{part}_mm"] for part in ("pieces", "waste", "offcuts", "left"))
        assert parts == pytest.approx(account["in_mm"], rel=1e-4)
    assert sum("K-0413" in name for name in named) == 4
    assert sum("K-0412" in name for name in named) == 2


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("length_mm = 4000", "length_mm = -4000", "“length_mm” is -4000; it must lie between 10"),
        ('name = "O-03"', 'name = "R/07"', "“R/07” is named twice; a roll or an offcut"),
        ("end_mm = 520", "end_mm = 480", "“crease” reaches from 500 to 480 mm of the roll"),
        ("end_mm = 520", "end_mm = 5200", "the roll has only 4000 mm left"),
        ("width_mm = 914", "width_mm = 200", "fits on nothing that there is"),
        ('kind = "clear"', 'kind = "shiny"', "must be one of clear, matt, tinted, coloured"),
        ("copies = 2", "copys = 2", "“copys” is not a value that is known here"),
        ("[[400, 300], [900, 500]]", "[[400]]", "a length and a width for each piece"),
    ],
)
def test_a_week_that_cannot_be_is_refused_in_one_sentence(
    week: Path, old: str, new: str, sentence: str
) -> None:
    text = week.read_text(encoding="utf-8").replace(old, new, 1)
    if "width_mm = 200" in new:
        text = text.replace("width_mm = 500", "width_mm = 200")
    week.write_text(text, encoding="utf-8")
    with pytest.raises((InputError, SettingError), match=sentence):
        run_week(read_week(week))
