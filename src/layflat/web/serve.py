"""`layflat serve`: the app and its local workers, from one command."""

import os
from pathlib import Path

from layflat.base import Progress, silent
from layflat.web.data_folder import VARIABLE, prepare_data_folder

HOST, PORT = "127.0.0.1", 8737
_GRACE_S = 2


def set_up(folder: Path) -> None:
    """Make Django ready for the data in *folder*, with the database as this version needs it.

    Raises:
        OutputError: the folder cannot be written.
    """
    prepare_data_folder(folder)
    os.environ[VARIABLE] = str(folder)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "layflat.web.settings")
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", interactive=False, verbosity=0)


def open_demo(folder: Path, *, progress: Progress = silent) -> tuple[str, ...]:
    """Put the invented workshop into *folder* where nobody has opened a shop yet.

    Returns:
        What was done and how to sign in, a line each.

    Raises:
        OutputError: the folder cannot be written.
        StoppedError: raised by *progress*; the folder stays without a shop then.
    """
    set_up(folder)
    # Models can be imported only once Django is set up.
    from layflat.web.seed import is_empty, seed_workshop, sign_in_lines

    if not is_empty():
        return (f"{folder} has a shop already; nothing was added to it.",)
    seed_workshop(progress=progress)
    return sign_in_lines()


def serve(folder: Path, *, host: str = HOST, port: int = PORT) -> None:
    """Answer on *host* and *port* until stopped, with the data in *folder*.

    Raises:
        OutputError: the folder cannot be written.
    """
    set_up(folder)
    import uvicorn

    # Without a limit an open stream of progress would keep the server from ending.
    uvicorn.run(
        "layflat.web.asgi:application",
        host=host,
        port=port,
        log_level="warning",
        timeout_graceful_shutdown=_GRACE_S,
    )
