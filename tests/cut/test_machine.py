from pathlib import Path

import pytest

from layflat.base import SettingError
from layflat.cut import generic_machine, read_machine

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
    }  # fmt: skip


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
