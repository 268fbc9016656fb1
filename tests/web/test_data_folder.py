"""The data folder is made once, and says what is in its way."""

import stat
from pathlib import Path

import pytest

from layflat.base import OutputError
from layflat.web.data_folder import prepare_data_folder, secret_key


def test_the_key_is_made_once_and_closed_to_others(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "data"
    prepare_data_folder(folder)
    key = secret_key(folder)
    prepare_data_folder(folder)
    assert secret_key(folder) == key
    assert len(key) >= 50
    assert stat.S_IMODE((folder / "secret-key").stat().st_mode) == 0o600


@pytest.mark.parametrize("where", [".", "files"])
def test_a_file_where_a_folder_should_be_is_said(tmp_path: Path, where: str) -> None:
    folder = tmp_path / "data"
    if where == ".":
        folder.write_text("no folder")
    else:
        folder.mkdir()
        (folder / where).write_text("no folder")
    with pytest.raises(OutputError, match="cannot be written"):
        prepare_data_folder(folder)
