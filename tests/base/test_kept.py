"""Kept results: found again, never stale, never half, never anything but what was kept."""

import hashlib
import os
import pickle
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from layflat.base import Kept, OutputError
from layflat.base import kept as kept_module
from layflat.film import flatten, generic_film
from layflat.surface import Mesh

SHEET = Mesh(
    np.array([(x, y, 0.01 * x * y) for y in range(4) for x in range(5)], dtype=float) * 20.0,
    np.array(
        [
            triangle
            for y in range(3)
            for x in range(4)
            for triangle in (
                (5 * y + x, 5 * y + x + 1, 5 * y + x + 6),
                (5 * y + x, 5 * y + x + 6, 5 * y + x + 5),
            )
        ]
    ),
)


def never() -> Any:
    raise AssertionError("It was computed again.")


def only_file(folder: Path) -> Path:
    (path,) = folder.glob("*.kept")
    return path


def test_a_result_comes_back_bit_for_bit_and_frozen(tmp_path: Path) -> None:
    made = Kept(tmp_path).get("flat", (SHEET,), lambda: flatten(SHEET, generic_film()))
    again = Kept(tmp_path)
    found = again.get("flat", (SHEET,), never)
    assert (again.found, again.made, again.notes) == ({"flat": 1}, {}, [])
    assert np.array_equal(made.points_mm, found.points_mm)
    assert np.array_equal(made.strain.greatest, found.strain.greatest)
    assert (made.film, made.energy_mj, made.steps) == (found.film, found.energy_mj, found.steps)
    for array in (found.points_mm, found.mesh.vertices_mm, found.mesh.faces):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


@pytest.mark.parametrize("given", [("other", (1,)), ("step", (2,)), ("step", (1, None))])
def test_another_step_or_another_input_is_computed(tmp_path: Path, given: Any) -> None:
    kept = Kept(tmp_path)
    kept.get("step", (1,), lambda: "first")
    assert kept.get(*given, lambda: "second") == "second"


def test_another_program_computes_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Kept(tmp_path).get("step", (1,), lambda: "old")
    monkeypatch.setattr(kept_module, "own_code", lambda: "another")
    assert Kept(tmp_path).get("step", (1,), lambda: "new") == "new"


def cut_short(data: bytes) -> bytes:
    return data[:-3]


def changed(data: bytes) -> bytes:
    return data[:-1] + bytes([data[-1] ^ 1])


def sealed(body: bytes) -> bytes:
    """A file that is whole, with any pickle in it."""
    held = struct.pack("<QQ", 1, len(body)) + body
    return b"layflat kept 1\n" + hashlib.sha256(held).digest() + held


class Stranger:
    def __reduce__(self) -> tuple[Callable[..., Any], tuple[str]]:
        return print, ("a stranger's code ran",)


@pytest.mark.parametrize(
    "damage",
    [
        cut_short,
        changed,
        lambda _: b"",
        lambda _: b"something else",
        lambda _: sealed(pickle.dumps(Stranger(), protocol=5)),
        lambda _: sealed(pickle.dumps(subprocess.Popen, protocol=5)),
        lambda _: sealed(pickle.dumps(kept_module.digest, protocol=5)),
        lambda _: sealed(b"\x80\x05"),
    ],
)
def test_a_damaged_or_strange_file_is_said_and_mended(
    tmp_path: Path, damage: Callable[[bytes], bytes], capsys: pytest.CaptureFixture[str]
) -> None:
    Kept(tmp_path).get("step", (1,), lambda: (1, "two"))
    path = only_file(tmp_path)
    path.write_bytes(damage(path.read_bytes()))
    kept = Kept(tmp_path)
    assert kept.get("step", (1,), lambda: (1, "two")) == (1, "two")
    (note,) = kept.notes
    assert note.startswith("A kept result (step) was damaged and computed anew: ")
    assert Kept(tmp_path).get("step", (1,), never) == (1, "two")
    assert capsys.readouterr().out == ""


def test_what_was_not_used_for_longest_goes_first(tmp_path: Path) -> None:
    kept = Kept(tmp_path, most_bytes=20_000)
    for number in range(3):
        kept.get("step", (number,), lambda: np.zeros(1000))
        kept.get("step", (0,), never)
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 20_000
    kept.get("step", (0,), never)
    kept.get("step", (2,), never)
    with pytest.raises(AssertionError, match="computed again"):
        kept.get("step", (1,), never)


def test_what_a_killed_process_left_goes_after_an_hour(tmp_path: Path) -> None:
    old, new = (tmp_path / f".step-0.kept.{name}.part" for name in ("old", "new"))
    for path in (old, new):
        path.write_bytes(b"half")
    hour_ago = time.time() - 3700
    os.utime(old, (hour_ago, hour_ago))
    (tmp_path / "step-0.kept").write_bytes(b"")
    Kept(tmp_path).get("step", (1,), lambda: 1)
    assert (old.exists(), new.exists()) == (False, True)


def test_what_fails_or_is_stopped_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(AssertionError):
        Kept(tmp_path).get("step", (1,), never)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_is_said_and_the_result_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_path: Path, _data: bytes) -> None:
        raise OutputError("No space left on device.")

    monkeypatch.setattr(kept_module, "write_bytes", full)
    kept = Kept(tmp_path)
    assert kept.get("step", (1,), lambda: 5) == 5
    assert kept.notes == ["A result (step) could not be kept: No space left on device."]


def test_several_at_once_share_a_folder(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; import numpy as np; from layflat.base import Kept\n"
        "kept = Kept(Path(sys.argv[1]))\n"
        "for i in range(30): assert kept.get('s', (i,), lambda: np.full(999, i))[0] == i\n"
        "assert not kept.notes, kept.notes"
    )
    command = [sys.executable, "-c", code, str(tmp_path)]
    ended: list[int] = []
    threads = [
        threading.Thread(
            target=lambda: ended.append(subprocess.run(command, check=False).returncode)
        )
        for _ in range(2)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert ended == [0, 0]
    assert len(list(tmp_path.glob("*.kept"))) == 30
    assert len(list(tmp_path.iterdir())) == 30


def test_a_folder_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine")
    with pytest.raises(OutputError, match="did not write"):
        Kept(tmp_path)


def test_without_a_folder_everything_is_computed() -> None:
    kept = Kept()
    assert [kept.get("step", (1,), lambda: 1), kept.get("step", (1,), lambda: 2)] == [1, 2]
    assert kept.made == {"step": 2}
