"""Files come out whole or not at all."""

import errno
import hashlib
import os
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from layflat.base import (
    InputError,
    OutputError,
    file_sha256,
    read_bytes,
    require_writable,
    write_bytes,
    write_files,
    write_folder,
    write_text,
)

TraceFunction = Callable[[FrameType, str, Any], Any]


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_text(path, "täglich\n")
    assert read_bytes(path, max_bytes=100) == "täglich\n".encode()
    assert file_sha256(path) == hashlib.sha256("täglich\n".encode()).hexdigest()
    assert names(tmp_path) == ["a.txt"]


def test_too_large_a_file_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    write_bytes(path, bytes(101))
    with pytest.raises(InputError, match="at most"):
        read_bytes(path, max_bytes=100)


@pytest.fixture
def full_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full when data are made safe."""

    def refuse(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", refuse)


@pytest.mark.usefixtures("full_disk")
def test_a_full_disk_keeps_the_old_file_and_leaves_no_rest(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("old")
    with pytest.raises(OutputError, match="No space left"):
        write_text(path, "new")
    assert path.read_text() == "old"
    assert names(tmp_path) == ["a.txt"]


def test_several_files_are_written_all_or_none(tmp_path: Path) -> None:
    first, second = tmp_path / "a.txt", tmp_path / "b.txt"
    first.write_text("old")
    with pytest.raises(OutputError, match=r"c\.txt cannot be written"):
        write_files({first: b"new", second: b"new", tmp_path / "none" / "c.txt": b"new"})
    assert first.read_text() == "old"
    assert names(tmp_path) == ["a.txt"]
    write_files({first: b"new", second: b"new"})
    assert names(tmp_path) == ["a.txt", "b.txt"]


def test_a_stop_while_writing_leaves_no_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(handle: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write_text(tmp_path / "a.txt", "new")
    assert names(tmp_path) == []


def test_a_stop_at_any_line_before_the_data_are_safe_leaves_no_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a signal stops it: between any two lines of Python, those of the library too."""
    lines, is_safe = 0, False

    def safe(_handle: int) -> None:
        nonlocal is_safe
        is_safe = True

    def trace(_frame: FrameType, event: str, _argument: object) -> TraceFunction:
        nonlocal lines
        if event == "line" and not is_safe:
            lines -= 1
            if lines == 0:
                raise KeyboardInterrupt
        return trace

    monkeypatch.setattr(os, "fsync", safe)
    before, stops = sys.gettrace(), 0
    while not is_safe:
        stops += 1
        lines = stops
        sys.settrace(trace)
        try:
            write_text(tmp_path / "a.txt", "new")
        except KeyboardInterrupt:
            assert names(tmp_path) == []
        finally:
            sys.settrace(before)
    assert stops > 5
    assert names(tmp_path) == ["a.txt"]


def test_an_input_is_not_an_output(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    require_writable(path, inputs=[path])
    path.touch()
    require_writable(path, inputs=[tmp_path / "b.txt"])
    with pytest.raises(OutputError, match="is read as input"):
        require_writable(path, inputs=[tmp_path / "b.txt", path])


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_text(tmp_path / "none" / "a.txt", "x")


def test_a_folder_appears_only_when_it_is_whole(tmp_path: Path) -> None:
    target = tmp_path / "out"
    with write_folder(target) as folder:
        (folder / "a.txt").write_text("x")
        assert not target.exists()
    assert (target / "a.txt").read_text() == "x"
    assert names(tmp_path) == ["out"]


def test_a_folder_whose_making_fails_leaves_the_old_one(tmp_path: Path) -> None:
    target = tmp_path / "out"
    with write_folder(target) as folder:
        (folder / "a.txt").write_text("old")

    def fail_half_way() -> None:
        with write_folder(target) as folder:
            (folder / "a.txt").write_text("new")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail_half_way()
    assert (target / "a.txt").read_text() == "old"
    assert names(tmp_path) == ["out"]


def test_a_folder_of_ours_is_replaced_whole(tmp_path: Path) -> None:
    target = tmp_path / "out"
    for name in ("a.txt", "b.txt"):
        with write_folder(target) as folder:
            (folder / name).write_text("x")
    assert (target / "b.txt").exists()
    assert not (target / "a.txt").exists()
    assert names(tmp_path) == ["out"]


def test_a_folder_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    with pytest.raises(OutputError, match="did not write"), write_folder(tmp_path):
        pass
    assert (tmp_path / "thesis.txt").read_text() == "years of work"


def test_a_file_in_the_way_is_said(tmp_path: Path) -> None:
    path = tmp_path / "out"
    path.write_text("x")
    with pytest.raises(OutputError, match="is a file"), write_folder(path):
        pass
