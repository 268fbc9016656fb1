"""A job file says everything a person decides, and a wrong one is refused with its place."""

from pathlib import Path

import pytest

from layflat.base import SettingError
from layflat.job.order import CutOrder, read_order
from layflat.pattern import EdgeFinish, Finish
from layflat.surface import EdgeKind

JOB = """
name = "Nose"
number = "T-1"
customer = "A customer"
vehicle = "A vehicle"
workshop = "A workshop"
dated = 2026-05-31
body = "body.ply"
unit = "m"
panels = "panels.json"

[stock]
width_mm = 1524

[finish]
open = { finish = "wrap", distance_mm = 8 }

[[cover]]
panel = "hood"
lay = 3
edges = { front = { finish = "short", distance_mm = 2 } }

[[cover]]
panel = "door"
line_mm = [[0, 0, 0], [100, 0, 0]]
keep_mm = [0, 0, 50]
film_over = [{ keep_out = "emblem", reason = "The customer asked for it in writing." }]
reliefs = [[[0, 0, 5], [9, 0, 5]], [[1, 0, 0], [2, 0, 0], [3, 1, 0]]]
seams = [[[0, 0, 7], [8, 0, 7]]]

[price]
currency = "EUR"
film_per_metre = 62
rate_per_hour = 68
tax_rate = 0.2
minutes = { wash = 90 }
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_job_is_read_whole(tmp_path: Path) -> None:
    order = read_order(write(tmp_path, JOB))
    assert order.body == tmp_path / "body.ply"
    assert order.unit == "m"
    assert order.film is None
    assert order.finishes[EdgeKind.OPEN] == EdgeFinish(Finish.WRAP, 8.0)
    assert order.finishes[EdgeKind.INNER] == EdgeFinish(Finish.FLUSH)
    hood, door = order.covers
    assert hood.finishes == {"front": EdgeFinish(Finish.SHORT, 2.0)}
    assert hood.line_mm is None
    assert (hood.lay, door.lay) == (3, None)
    assert door.line_mm is not None
    assert door.line_mm.shape == (2, 3)
    assert door.keep_mm is not None
    assert door.keep_mm.tolist() == [0, 0, 50]
    assert door.film_over == {"emblem": "The customer asked for it in writing."}
    assert [path.tolist() for path in door.reliefs] == [
        [[0, 0, 5], [9, 0, 5]],
        [[1, 0, 0], [2, 0, 0], [3, 1, 0]],
    ]
    assert [path.tolist() for path in door.seams] == [[[0, 0, 7], [8, 0, 7]]]
    assert hood.reliefs == hood.seams == ()
    assert order.price.minutes == {"wash": 90.0}


def test_what_is_wished_of_the_cut(tmp_path: Path) -> None:
    assert read_order(write(tmp_path, JOB)).cut == CutOrder()
    text = '[cut]\nin_laying_order = true\nfirst = ["hood", "door"]\nstrips_mm = 350\n[price]'
    order = read_order(write(tmp_path, JOB.replace("[price]", text)))
    assert order.cut == CutOrder(in_laying_order=True, first=("hood", "door"), strips_mm=350.0)
    assert "cut.in_laying_order" not in order.defaults
    both = JOB.replace("[price]", "[cut]\ntabs = 3\nhinge_mm = 20\n[price]")
    with pytest.raises(SettingError, match="by tabs or by a hinge"):
        read_order(write(tmp_path, both))


def test_values_that_nobody_gave_are_said(tmp_path: Path) -> None:
    defaults = read_order(write(tmp_path, JOB)).defaults
    assert defaults["finger_aversion"] == 1.0
    assert defaults["stock.gap_mm"] == 4.0
    assert defaults["finish.gap"] == "short 1.5 mm"
    assert "finish.open" not in defaults
    assert "stock.width_mm" not in defaults


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "Nose"', "", "“name” is missing"),
        ("dated = 2026-05-31", 'dated = "today"', "“dated” must be a date"),
        ('unit = "m"', 'unit = "furlong"', "one of mm, cm, m, in"),
        ("width_mm = 1524", "width_mm = 1.5", "between 50 and 4000"),
        ("width_mm = 1524", "widht_mm = 1524", "“width_mm” is missing"),
        ("width_mm = 1524", "width_mm = 1524\ncolour = 1", "“colour” is not a value"),
        ('panel = "door"', 'panel = "hood"', "“hood” is covered twice"),
        ("keep_mm = [0, 0, 50]", "keep_mm = [0, 0]", "three coordinates"),
        ("keep_mm = [0, 0, 50]", "", "cover 2: the value “keep_mm” is missing"),
        ("[100, 0, 0]]", "[100, 0]]", "two or more points"),
        ("[100, 0, 0]]", '"x"]', r"line_mm\[1\]” must be a list"),
        ('"wrap", distance_mm = 8', '"wrap"', "“distance_mm” is missing"),
        ('"wrap", distance_mm = 8', '"glue"', "one of flush, short, wrap"),
        ("[9, 0, 5]], ", "], ", "reliefs”: path 1 must have two or more points"),
        ("[9, 0, 5]], ", "[9, 0]], ", "reliefs”: path 1 must have two or more points"),
        ("[9, 0, 5]], ", '"x"], ', r"reliefs\[0\]\[1\]” must be a list"),
        ("reliefs = [[[", "reliefs = 1 # ", "list of paths"),
        ("[[[0, 0, 7], ", "[[", "seams”: path 1 must have two or more points"),
        ("[price]", "[cut]\nstrips_mm = 9\n[price]", "between 50 and 5000"),
        ("[price]", '[cut]\nfirst = "hood"\n[price]', "“first” must be a list of texts"),
        ("[price]", "[cut]\nfirst = [3]\n[price]", r"“first\[0\]” must be a text"),
        ("[price]", "[cut]\nlast = 1\n[price]", "“last” is not a value"),
        ("lay = 3", "lay = 0", "between 1 and 999"),
        ("lay = 3", "lay = 1.5", "whole number"),
        ("tax_rate = 0.2", "tax_rate = 20", "between 0 and 1"),
        ("reason =", "because =", "“reason” is missing"),
        ("wash = 90", "polish = 90", "the step “polish” is not known"),
        ("[stock]", "colour = 1\n[stock]", "“colour” is not a value"),
        ("[price]", "[prize]", "“price” is missing"),
    ],
)
def test_a_wrong_value_is_refused_with_its_place(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    assert old in JOB
    with pytest.raises(SettingError, match=words):
        read_order(write(tmp_path, JOB.replace(old, new)))


def test_a_job_without_a_cover_is_refused(tmp_path: Path) -> None:
    text = JOB[: JOB.index("[[cover]]")] + JOB[JOB.index("[price]") :]
    with pytest.raises(SettingError, match="“cover” is missing"):
        read_order(write(tmp_path, text))
    with pytest.raises(SettingError, match="name at least one panel"):
        read_order(write(tmp_path, "cover = []\n" + text))
