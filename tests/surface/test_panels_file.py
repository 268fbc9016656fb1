import json
from pathlib import Path

import numpy as np
import pytest

import zoo
from layflat.base import SettingError
from layflat.surface import (
    BodyInfo,
    KeepOut,
    KeepOutKind,
    Panel,
    panels_json,
    read_panels,
)


def body() -> BodyInfo:
    flat = zoo.raised(zoo.ring(12, 300 / 7), zoo.bowl(400))
    hood = zoo.panel(flat, parts=4, openings=(flat[::-1] / 3,), name="hood")
    emblem = KeepOut(KeepOutKind.EMBLEM, flat[:4] / 9, "emblem", 2.0)
    return BodyInfo(
        "Invented body",
        (0.0, 1.0, 0.0),
        (0.0, 0.0, 1.0),
        (
            Panel(hood.name, hood.outline, hood.openings, (emblem,)),
            zoo.panel(flat, name="Tür, links"),
        ),
    )


def test_panels_come_back_to_the_last_digit(tmp_path: Path) -> None:
    path = tmp_path / "panels.json"
    path.write_text(panels_json(body()), encoding="utf-8")
    read, first = read_panels(path), body()
    assert (read.name, read.forward, read.up) == (first.name, first.forward, first.up)
    assert [panel.name for panel in read.panels] == ["hood", "Tür, links"]
    ours, theirs = read.panels[0], first.panels[0]
    for mine, edge in zip(ours.outline, theirs.outline, strict=True):
        assert (mine.kind, mine.name) == (edge.kind, edge.name)
        assert mine.points_mm.tobytes() == edge.points_mm.tobytes()
    assert np.array_equal(ours.openings[0][0].points_mm, theirs.openings[0][0].points_mm)
    (keep_out,) = ours.keep_outs
    assert (keep_out.kind, keep_out.name, keep_out.clearance_mm) == ("emblem", "emblem", 2.0)
    assert panels_json(read) == panels_json(first)


def changed(**changes: object) -> str:
    return json.dumps({**json.loads(panels_json(body())), **changes})


EDGE = {"name": "", "kind": "gap", "points_mm": [[0, 0, 0], [1, 0, 0], [0, 1, 0]]}
BAD = {
    "no json": ("{", "not a JSON file"),
    "deep": ("[" * 100_000, "not a JSON file"),
    "a list": ("[]", "not a file of Layflat panels"),
    "another form": (changed(form="cake"), "not a file of Layflat panels"),
    "later version": (changed(version=2), "must lie between 1 and 1"),
    "another unit": (changed(unit="in"), "must be one of mm"),
    "unknown key": (changed(colour="red"), "colour"),
    "no name": (changed(body=""), "1 to 200"),
    "short vector": (changed(up=[0, 1]), "three components"),
    "panels no list": (changed(panels={}), "list of tables"),
    "no edges": (changed(panels=[{"name": "a", "outline": []}]), "no edges"),
    "two points": (
        changed(panels=[{"name": "a", "outline": [{**EDGE, "points_mm": [[0, 0]]}]}]), "x, y, z",
    ),
    "far away": (
        changed(panels=[{"name": "a", "outline": [{**EDGE, "points_mm": [[1e9, 0, 0]]}]}]),
        "between -30000 and 30000",
    ),
    "not a number": (
        changed(panels=[{"name": "a", "outline": [{**EDGE, "points_mm": [[float("nan"), 0, 0]]}]}]),
        "must lie between",
    ),
    "kind": (changed(panels=[{"name": "a", "outline": [{**EDGE, "kind": "soft"}]}]), "open, gap"),
    "twice": (changed(panels=[{"name": "a", "outline": [EDGE]}] * 2), "two panels called “a”"),
    "twice for some systems": (
        changed(panels=[{"name": "a", "outline": [EDGE]}, {"name": "A", "outline": [EDGE]}]),
        "two panels called “a”",
    ),
    **{
        f"name {name!a}": (changed(panels=[{"name": name, "outline": [EDGE]}]), "files are called")
        for name in ("../a", "a\\b", "a:b", "a\nb", "..", " a", "a.")
    },
    "long name": (changed(panels=[{"name": "a" * 61, "outline": [EDGE]}]), "1 to 60 characters"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "words"), BAD.values(), ids=BAD.keys())
def test_a_bad_file_is_refused_with_the_place(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "panels.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingError, match=words):
        read_panels(path)
