"""The data folder: the one place where the app keeps what it knows."""

import os
import secrets
from pathlib import Path

from layflat.base import OutputError

VARIABLE = "LAYFLAT_DATA"
"""The environment variable that names the folder."""
KEY_FILE = "secret-key"
DATABASE_FILE = "layflat.sqlite3"
URL_VARIABLE = "DATABASE_URL"
"""The environment variable that names a database elsewhere."""


def data_folder() -> Path | None:
    """The folder that the environment names; None without one, as in a type check."""
    name = os.environ.get(VARIABLE, "")
    return Path(name).resolve() if name else None


def uses_sqlite() -> bool:
    """Whether the database is a file in the data folder, as nothing else is named."""
    return not os.environ.get(URL_VARIABLE, "")


def use_data_folder(folder: Path) -> None:
    """Make Django ready for the data in *folder*, as it is."""
    os.environ[VARIABLE] = str(folder)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "layflat.web.settings")
    import django

    django.setup()


def prepare_data_folder(folder: Path) -> None:
    """Make the folder, its parts and its secret key, as far as they are not there.

    Raises:
        OutputError: it cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "files").mkdir(exist_ok=True)
        _make_key(folder / KEY_FILE)
    except OSError as error:
        raise OutputError(
            f"The data folder {folder} cannot be written: {error.strerror}."
        ) from error


def _make_key(path: Path) -> None:
    """Write a new key, unless there is one."""
    try:
        # Created closed to others; a key that others could read would sign for them.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(secrets.token_urlsafe(64))


def secret_key(folder: Path | None) -> str:
    """The folder's key; without a folder, one that ends with the process."""
    if folder is None or not (folder / KEY_FILE).is_file():
        return secrets.token_urlsafe(64)
    return (folder / KEY_FILE).read_text(encoding="ascii")
