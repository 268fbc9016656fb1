"""A throw-away PostgreSQL server, from the machine's own programs."""

import getpass
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import unquote, urlsplit

import psycopg
import pytest

_DEBIAN = Path("/usr/lib/postgresql")
_QUICK = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c listen_addresses="
_START_S = 300.0
# The server ends, and its folder goes, when this end of the pipe is closed: also when the test run
# is killed and nobody is left to say so.
_WHILE_SOMEBODY_LISTENS = """
folder=$1; shift
"$@" >"$folder/log" 2>&1 &
cat >/dev/null
kill -QUIT $! 2>/dev/null
wait
rm -rf "$folder"
"""


def programs() -> Path:
    """The folder with PostgreSQL's own programs; fails the test with what is missing."""
    found = sorted(_DEBIAN.glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    anywhere = shutil.which("initdb")
    if found:
        return found[-1].parent
    if anywhere is not None:
        return Path(anywhere).resolve().parent
    pytest.fail(
        "PostgreSQL's programs (initdb, postgres) are not on this machine; these tests run on both "
        "databases. On Debian: apt-get install postgresql (as root)."
    )


def _as_user() -> list[str]:
    """PostgreSQL refuses to run as root; Debian's package brings a user for it."""
    return ["runuser", "-u", "postgres", "--"] if getpass.getuser() == "root" else []


@contextmanager
def postgres(*, like: Path | None = None) -> Iterator[str]:
    """A server while the block runs; the URL of a database of it, the name left out.

    It listens on a socket in its own folder only.

    Args:
        like: data of another server that it begins with, as `keep` leaves them; None: with none.
    """
    bin_folder = programs()
    as_user = _as_user()
    # Short: a socket's path may have some 100 letters.
    with tempfile.TemporaryDirectory(prefix="pg-") as name:
        folder = Path(name)
        if as_user:
            shutil.chown(folder, "postgres")
        data = str(folder / "data")
        if like is None:
            options = ["-A", "trust", "-U", "postgres", "-E", "UTF8", "--locale=C", "--no-sync"]
            _run([*as_user, str(bin_folder / "initdb"), *options, "-D", data])
        else:
            _run(["cp", "-a", str(like), data])
        server = [str(bin_folder / "postgres"), "-D", data, *_QUICK.split(), "-k", name]
        with subprocess.Popen(
            [*as_user, "sh", "-c", _WHILE_SOMEBODY_LISTENS, "sh", name, *server],
            cwd="/",
            stdin=subprocess.PIPE,
            start_new_session=True,
        ) as watched:
            url = f"postgres://postgres@{name.replace('/', '%2F')}/"
            _wait_until_up(url, folder / "log")
            yield url
            assert watched.stdin is not None
            watched.stdin.close()


def keep(url: str, path: Path) -> None:
    """End the server at *url*, which `postgres` started, and keep its data in a new folder."""
    data = str(_folder_of(url) / "data")
    end = [*_as_user(), str(programs() / "pg_ctl"), "stop", "-D", data, "-m", "fast"]
    _run(end)
    _run(["cp", "-a", data, str(path)])


def _folder_of(url: str) -> Path:
    return Path(unquote(urlsplit(url).netloc.rpartition("@")[2]))


def _run(command: list[str]) -> None:
    quiet = subprocess.DEVNULL
    subprocess.run(command, cwd="/", stdin=quiet, stdout=quiet, check=True)


def new_database(url: str, name: str, *, like: str = "template1") -> str:
    """Make a database in the server at *url*, empty or a copy of another one; its own URL."""
    with _connected(url) as server:
        server.execute(f"CREATE DATABASE {name} TEMPLATE {like}")
    return url + name


def _connected(url: str) -> "psycopg.Connection[tuple[object, ...]]":
    return psycopg.connect(
        f"{url.replace('postgres://', 'postgresql://')}postgres", autocommit=True
    )


def _wait_until_up(url: str, log: Path) -> None:
    end = time.monotonic() + _START_S
    while True:
        try:
            _connected(url).close()
        except psycopg.OperationalError as error:
            if time.monotonic() > end:
                said = log.read_text(errors="replace") if log.exists() else ""
                pytest.fail(f"PostgreSQL does not answer: {error}\n{said[-2000:]}")
            time.sleep(0.05)
        else:
            return
