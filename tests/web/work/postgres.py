"""A throw-away PostgreSQL server, from the machine's own programs."""

import getpass
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

_DEBIAN = Path("/usr/lib/postgresql")
_QUICK = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c listen_addresses="


def programs() -> Path:
    """The folder with PostgreSQL's own programs; fails the test with what is missing."""
    found = sorted(_DEBIAN.glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    anywhere = shutil.which("initdb")
    if found:
        return found[-1].parent
    if anywhere is not None:
        return Path(anywhere).parent
    pytest.fail(
        "PostgreSQL's programs (initdb, pg_ctl) are not on this machine; these tests run on both "
        "databases. On Debian: apt-get install postgresql."
    )


@contextmanager
def postgres() -> Iterator[str]:
    """A server while the block runs; the URL of a database of it, the name left out.

    It listens on a socket in its own folder only.
    """
    bin_folder = programs()
    is_root = getpass.getuser() == "root"

    def call(program: str, *arguments: str) -> None:
        # initdb refuses to run as root; Debian's package brings a user for it.
        as_user = ["runuser", "-u", "postgres", "--"] if is_root else []
        command = [*as_user, str(bin_folder / program), *arguments]
        done = subprocess.run(
            command, cwd="/", stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, check=False
        )
        assert done.returncode == 0, command

    # Short: a socket's path may have some 100 letters.
    with tempfile.TemporaryDirectory(prefix="pg-") as name:
        folder = Path(name)
        if is_root:
            shutil.chown(folder, "postgres")
        data, log = str(folder / "data"), str(folder / "log")
        call("initdb", "-A", "trust", "-U", "postgres", "-E", "UTF8", "--no-sync", "-D", data)
        call("pg_ctl", "-D", data, "-l", log, "-o", f"{_QUICK} -k {folder}", "-w", "start")
        try:
            yield f"postgres://postgres@{name.replace('/', '%2F')}/"
        finally:
            call("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
