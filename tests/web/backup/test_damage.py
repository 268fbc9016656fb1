"""What is damaged, crafted, newer or in the way is refused in a sentence and leaves nothing behind.

ZIP's own sums (CRC-32) do not cover its directory; the closing hash does.
"""

import itertools
import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from layflat.base import InputError, OutputError, StoppedError, silent
from layflat.web.backup import form
from layflat.web.backup.restoring import restore
from layflat.web.backup.saving import back_up
from layflat.web.files.models import StoredFile
from web.backup.conftest import NewYard
from web.backup.yards import Yard, changed, relisted

_numbers = itertools.count()
MANY = settings(
    max_examples=200,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def refused(backup: Path, folder: Path, match: str) -> None:
    """Nothing is restored, and nothing is left."""
    before = sorted(folder.parent.iterdir())
    with pytest.raises(InputError, match=match):
        restore(backup, folder)
    assert sorted(folder.parent.iterdir()) == before


@MANY
@example(share=0.0, bit=0)
@example(share=1.0, bit=7)
@given(share=st.floats(0.0, 1.0), bit=st.integers(0, 7))
def test_one_flipped_bit_anywhere_is_found(
    backup: Path, tmp_path: Path, share: float, bit: int
) -> None:
    data = bytearray(backup.read_bytes())
    data[round(share * (len(data) - 1))] ^= 1 << bit
    (tmp_path / "flipped").write_bytes(data)
    refused(
        tmp_path / "flipped", tmp_path / "data", "no whole backup: it is damaged, was cut short"
    )


@MANY
@example(share=0.0)
@given(share=st.floats(0.0, 1.0, exclude_max=True))
def test_what_was_cut_short_is_found(backup: Path, tmp_path: Path, share: float) -> None:
    data = backup.read_bytes()
    (tmp_path / "short").write_bytes(data[: int(share * len(data))])
    refused(tmp_path / "short", tmp_path / "data", "cut short")


def test_every_bit_of_the_archive_s_own_directory_counts(backup: Path, tmp_path: Path) -> None:
    # The last 200 bytes hold the end of the directory and the hash itself.
    whole = backup.read_bytes()
    for place, bit in itertools.product(range(1, 200), range(8)):
        data = bytearray(whole)
        data[-place] ^= 1 << bit
        (tmp_path / "flipped").write_bytes(data)
        with (
            pytest.raises(InputError, match="no whole backup"),
            (tmp_path / "flipped").open("rb") as file,
        ):
            form.require_sealed(file, len(data), progress=silent)


Crafted = Callable[[dict[str, bytes]], None]


def climbing(entries: dict[str, bytes]) -> None:
    listed = json.loads(entries[form.MANIFEST])
    outside = "../../outside"
    entries[outside] = b"x"
    entry = {"name": outside, "size": 1, "sha256": form.hashlib.sha256(b"x").hexdigest()}
    listed["files"].append(entry)
    entries[form.MANIFEST] = json.dumps(listed).encode()


def renamed(entries: dict[str, bytes]) -> None:
    name = next(name for name in entries if name.startswith("files/"))
    entries[f"files/{'0' * 64}"] = entries.pop(name)
    text = entries[form.MANIFEST].decode()
    entries[form.MANIFEST] = text.replace(name, f"files/{'0' * 64}").encode()


def without_a_file(entries: dict[str, bytes]) -> None:
    del entries[next(name for name in entries if name.startswith("files/"))]


def with_more(entries: dict[str, bytes]) -> None:
    entries["rows/jobs.Other.jsonl"] = b"[]\n"


def other_contents(entries: dict[str, bytes]) -> None:
    name = next(name for name in entries if name.startswith("files/"))
    entries[name] = b"!" * len(entries[name])


def a_bomb(entries: dict[str, bytes]) -> None:
    # Some 30 MB of nothing in some 30 kB, under a list that says it is small.
    name = next(name for name in entries if name.startswith("files/"))
    entries[name] = bytes(30_000_000)


def larger_than_ever(entries: dict[str, bytes]) -> None:
    listed = json.loads(entries[form.MANIFEST])
    listed["tables"][0]["entry"]["size"] = 10**14
    entries[form.MANIFEST] = json.dumps(listed).encode()


def without_a_list(entries: dict[str, bytes]) -> None:
    del entries[form.MANIFEST]


def a_list_of_nothing(entries: dict[str, bytes]) -> None:
    entries[form.MANIFEST] = b"[]"


def a_deep_list(entries: dict[str, bytes]) -> None:
    entries[form.MANIFEST] = b"[" * 200_000


def of_a_newer_form(entries: dict[str, bytes]) -> None:
    relisted(entries, form=form.FORM + 1, version="99.1")


@pytest.mark.parametrize(
    ("act", "match"),
    [
        (climbing, "contents that no backup has"),
        (renamed, "contents that no backup has"),
        (without_a_file, "does not hold what it lists"),
        (with_more, "does not hold what it lists"),
        (other_contents, "is not as it was listed"),
        (a_bomb, "is not as it was listed"),
        (larger_than_ever, "more than is ever restored"),
        (without_a_list, "no list of its contents"),
        (a_list_of_nothing, "list of contents cannot be read"),
        (a_deep_list, "list of contents cannot be read"),
        (of_a_newer_form, r"newer Layflat \(99.1\)"),
    ],
)
def test_what_was_crafted_is_refused(
    backup: Path, tmp_path: Path, act: Crafted, match: str
) -> None:
    path = changed(backup, tmp_path / "crafted", act)
    refused(path, tmp_path / "data", match)


def without_people(entries: dict[str, bytes]) -> None:
    entries["rows/people.Person.jsonl"] = b""
    relisted(entries)


def with_fewer_rows_than_listed(entries: dict[str, bytes]) -> None:
    relisted(entries)
    listed = json.loads(entries[form.MANIFEST])
    listed["tables"][0]["rows"] += 1
    entries[form.MANIFEST] = json.dumps(listed).encode()


def with_a_torn_row(entries: dict[str, bytes]) -> None:
    entries["rows/jobs.Job.jsonl"] = entries["rows/jobs.Job.jsonl"][:-20]
    relisted(entries)


def with_a_day_that_is_none(entries: dict[str, bytes]) -> None:
    name = "rows/offer.Offer.jsonl"
    entries[name] = entries[name].replace(b"2031-12-31", b"2031-02-31")
    relisted(entries)


def with_newer_tables(entries: dict[str, bytes]) -> None:
    listed = json.loads(entries[form.MANIFEST])
    relisted(entries, migrations=[*listed["migrations"], "jobs.0999_later"], version="99.2")


@pytest.mark.parametrize(
    ("kind", "act", "said"),
    [
        ("postgres", without_people, "does not go into the database"),
        ("sqlite", with_fewer_rows_than_listed, "has other rows than it lists"),
        ("postgres", with_a_torn_row, "ends within a row"),
        ("sqlite", with_a_day_that_is_none, "“offer.Offer” in the backup does not go"),
        ("postgres", with_newer_tables, "newer Layflat (99.2)"),
    ],
)
def test_rows_that_do_not_fit_leave_folder_and_database_as_they_were(
    backup: Path, new_yard: NewYard, tmp_path: Path, kind: str, act: Crafted, said: str
) -> None:
    yard = new_yard(kind)
    found = yard.run("restore", changed(backup, tmp_path / "crafted", act))
    assert found.returncode == 2, found.stderr
    assert said in found.stderr
    assert len(found.stderr.splitlines()) == 1
    assert not yard.folder.exists()
    # The database is as empty as before: the right one goes in.
    if act is with_a_torn_row:
        yard.done("restore", backup)
        assert "is not empty" in yard.run("restore", backup).stderr


def test_a_folder_and_a_database_in_use_are_left_alone(
    backup: Path, new_yard: NewYard, tmp_path: Path
) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "kept").write_text("mine")
    with pytest.raises(OutputError, match=r"is not empty \(“kept” is in it\)"):
        restore(backup, tmp_path / "data")
    assert [path.name for path in (tmp_path / "data").iterdir()] == ["kept"]
    with pytest.raises(InputError, match="does not exist"):
        restore(tmp_path / "none", tmp_path / "other")


@pytest.mark.parametrize("after", ["checking the backup", "restoring files"])
def test_restoring_can_be_stopped(backup: Path, tmp_path: Path, after: str) -> None:
    with pytest.raises(StoppedError):
        restore(backup, tmp_path / "data", progress=stops(after))
    assert not (tmp_path / "data").exists()


def stops(after: str) -> Callable[[str, float], None]:
    def progress(step: str, _fraction: float) -> None:
        if step == after:
            raise StoppedError("stopped")

    return progress


@pytest.mark.parametrize("after", ["copying rows", "copying files", "closing the backup"])
def test_backing_up_can_be_stopped(
    yard: Yard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, after: str
) -> None:
    monkeypatch.setenv("LAYFLAT_DATA", str(yard.folder))
    (tmp_path / "kept").write_text("an earlier one")
    with yard.inside(), pytest.raises(StoppedError):
        back_up(yard.folder, tmp_path / "kept", replace=True, progress=stops(after))
    assert [path.read_text() for path in tmp_path.iterdir()] == ["an earlier one"]


def test_a_missing_and_a_damaged_file_are_said(
    new_yard: NewYard, backup: Path, tmp_path: Path
) -> None:
    yard = new_yard("sqlite")
    yard.done("restore", backup)
    first, second = sorted((yard.folder / "files").glob("*/*"))[:2]
    first.unlink()
    second.write_bytes(bytes(second.stat().st_size))
    found = yard.run("backup", tmp_path / "new")
    assert found.returncode == 3
    assert "2 stored files are missing" in found.stderr
    assert not list(tmp_path.iterdir())


def test_what_is_in_the_way_is_said(yard: Yard, backup: Path, tmp_path: Path) -> None:
    whole = backup.read_bytes()
    found = yard.run("backup", backup)
    assert found.returncode == 2
    assert "is there already; name another file, or add --replace" in found.stderr
    assert backup.read_bytes() == whole
    with yard.inside():
        assert StoredFile.objects.exists()
    for path, match in (
        (yard.folder / "inside", "lies in the data folder itself"),
        (tmp_path / "none" / "x", "there is no folder"),
        (tmp_path, "is a folder"),
    ):
        with pytest.raises(OutputError, match=match):
            back_up(yard.folder, path)
    with pytest.raises(InputError, match=r"There is no shop in .*; name its data folder"):
        back_up(tmp_path, tmp_path / "new")


def test_a_backup_opens_with_any_zip_program(backup: Path) -> None:
    with zipfile.ZipFile(backup) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
    assert "secret-key" in names
    assert "rows/jobs.Job.jsonl" in names
    assert not any("session" in name.lower() for name in names)
