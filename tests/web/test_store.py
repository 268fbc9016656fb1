"""Contents are kept once, whole or not at all."""

import hashlib
from pathlib import Path

import pytest
from pytest_django.fixtures import Settings

from layflat.base import InputError, OutputError
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep, path_of

pytestmark = pytest.mark.django_db


def test_equal_contents_are_kept_once(tmp_path: Path) -> None:
    first = keep([b"ab", b"c"], name=r"C:\scans\a.ply", media_type="x/ply", most_bytes=9, who=None)
    again = keep([b"abc"], name="b.ply", media_type="x/ply", most_bytes=9, who=None)
    assert first == again
    assert first.name == "a.ply"
    # FIPS 180-4's example: the hash of “abc”.
    assert first.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert path_of(first.sha256).read_bytes() == b"abc"
    assert [path for path in (tmp_path / "files").rglob("*") if path.is_file()] == [
        path_of(first.sha256)
    ]


@pytest.mark.parametrize("chunks", [[b"1234", b"567"], [], [b""]])
def test_too_much_or_nothing_leaves_nothing(chunks: list[bytes], tmp_path: Path) -> None:
    with pytest.raises(InputError):
        keep(chunks, name="a", media_type="x", most_bytes=6, who=None)
    assert not StoredFile.objects.exists()
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_an_upload_that_breaks_off_leaves_nothing(tmp_path: Path) -> None:
    def chunks():
        yield b"123"
        raise ConnectionResetError("gone")

    with pytest.raises(OutputError):
        keep(chunks(), name="a", media_type="x", most_bytes=6, who=None)
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_without_a_folder_nothing_can_be_kept(settings: Settings) -> None:
    settings.FILES_FOLDER = None
    with pytest.raises(OutputError, match="LAYFLAT_DATA"):
        path_of(hashlib.sha256(b"").hexdigest())
