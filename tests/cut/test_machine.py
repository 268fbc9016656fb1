from pathlib import Path

import numpy as np
import pytest
import shapely

from cut.shapes import machine as altered
from cut.shapes import on_stock, rectangle, two_sections
from layflat.base import SettingError
from layflat.cut import (
    Stroke,
    generic_machine,
    machine_toml,
    program,
    read_hpgl,
    read_machine,
    simulate,
)
from layflat.pattern import Pattern

GOOD = """
name = "Ours"
knife_offset_mm = 0.3
overcut_mm = 0.5
cut_speed_mm_s = 300
travel_speed_mm_s = 500
acceleration_mm_s2 = 3000
force_g = 80
max_width_mm = 1300
max_section_mm = 2000
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "machine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_machine_is_read_and_says_what_it_did_not_find(tmp_path: Path) -> None:
    machine = read_machine(write(tmp_path, GOOD))
    assert (machine.knife_offset_mm, machine.units_per_mm) == (0.3, 40.0)
    assert set(machine.defaults) == {
        "units_per_mm", "junction_deviation_mm", "knife_move_s", "send_speed", "send_force",
        "buffer_bytes", "answers_position", "scale_x", "scale_y", "skew", "walk",
        "speed_by_curve", "speed_unit_mm_s", "least_speed_mm_s", "origin_x_mm", "origin_y_mm",
        "mirror_x", "mirror_y", "swap_axes", "relative", "most_command_bytes", "largest_unit",
    }  # fmt: skip


def test_a_machine_is_written_and_read_again(tmp_path: Path) -> None:
    before = altered(scale_x=1.0021, skew=-0.0007, walk=0.005, send_force=True)
    path = tmp_path / "written.toml"
    path.write_text(machine_toml(before), encoding="utf-8")
    assert read_machine(path) == before


def test_a_program_for_a_machine_that_strays_cuts_true() -> None:
    """Told places through a matrix written out here; the tip must run along the plain rectangle."""
    plate = on_stock(Pattern("plate", rectangle(100, 100, 350, 200)))
    stray = np.array([[1.004, 0.002], [0.005, 0.997]])
    ours = altered(scale_x=1.004, skew=0.002, walk=0.005, scale_y=0.997)
    told = read_hpgl(program(plate, ours).sections[0].hpgl)
    film = [Stroke(down=s.down, points_mm=s.points_mm @ stray.T) for s in told]
    outline = shapely.box(100, 100, 350, 200).exterior
    far = [
        shapely.distance(outline, shapely.points(cut[len(cut) // 8 :])).max()
        for cut in (simulate(s, knife_offset_mm=0.25).cuts[1] for s in (film, told))
    ]
    assert far[0] < 0.06
    assert far[1] > 1.0


@pytest.mark.parametrize("walk", [0.004, -0.004])
def test_sections_of_a_machine_that_strays_make_the_whole(walk: float) -> None:
    made = program(two_sections(), altered(scale_x=1.003, walk=walk))
    assert len(made.sections) == 2
    assert made.tip_error.max_away_mm < 0.05


def test_every_value_of_the_generic_machine_has_its_source() -> None:
    machine = generic_machine()
    assert machine.defaults == {}
    assert set(machine.sources) == {
        name for name in machine.__dataclass_fields__ if name not in ("name", "sources", "defaults")
    }


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("knife_offset_mm = 0.3", "knife_offset_mm = 25", "between 0.05 and 2"),
        ("knife_offset_mm = 0.3", "knife_offset_mm = 0", "between 0.05 and 2"),
        ("knife_offset_mm = 0.3", "knife_offset_mm = nan", "between"),
        ("knife_offset_mm = 0.3\n", "", "“knife_offset_mm” is missing"),
        ("overcut_mm = 0.5", "overcut_mm = -1", "between"),
        ("force_g = 80", 'force_g = "much"', "must be a number"),
        ("force_g = 80", "force_g = 80\nforce_n = 1", "“force_n” is not a value"),
        ("force_g = 80", "force_g = 80\nunits_per_mm = 1", "between 20 and 1000"),
        (
            "max_section_mm = 2000",
            'max_section_mm = 2000\n[sources]\nweight = "x"',
            "“weight” is not a value",
        ),
    ],
)
def test_absurd_values_are_refused(tmp_path: Path, old: str, new: str, words: str) -> None:
    with pytest.raises(SettingError, match=words):
        read_machine(write(tmp_path, GOOD.replace(old, new)))
