"""`layflat serve`: the app and its local workers, from one command."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

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


def serve(folder: Path, *, host: str = HOST, port: int = PORT) -> None:
    """Answer on *host* and *port* until stopped, with the data in *folder*, and compute.

    Ctrl-C and SIGTERM end it; what was being computed is open again and goes on at the next start.

    Raises:
        OutputError: the folder cannot be written.
    """
    set_up(folder)
    import uvicorn

    # Models can be imported only once Django is set up.
    from layflat.web.work.reconcile import working

    with _ended_by_sigterm(), working():
        # Without a limit an open stream of progress would keep the server from ending.
        uvicorn.run(
            "layflat.web.asgi:application",
            host=host,
            port=port,
            log_level="warning",
            timeout_graceful_shutdown=_GRACE_S,
        )


@contextmanager
def _ended_by_sigterm() -> Iterator[None]:
    """Let SIGTERM end the block as Ctrl-C does, so that what it started is ended too.

    uvicorn catches the signal, ends, and raises it again for whoever was there before.
    """

    def end(_number: int, _frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
