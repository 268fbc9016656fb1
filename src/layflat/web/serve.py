"""`layflat serve`: the app and its local workers, from one command."""

import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from layflat.base import SettingError
from layflat.web.data_folder import prepare_data_folder, use_data_folder

HOST, PORT = "127.0.0.1", 8737
_GRACE_S = 2


def set_up(folder: Path) -> None:
    """Make Django ready for the data in *folder*, with the database as this version needs it.

    Raises:
        OutputError: the folder cannot be written.
    """
    prepare_data_folder(folder)
    use_data_folder(folder)
    from django.core.management import call_command

    call_command("migrate", interactive=False, verbosity=0)


def serve(
    folder: Path, *, host: str = HOST, port: int = PORT, on_up: Callable[[], None] = lambda: None
) -> None:
    """Answer on *host* and *port* until stopped, with the data in *folder*, and compute.

    Ctrl-C and SIGTERM end it; what was being computed is open again and goes on at the next start.

    Args:
        folder: the data folder.
        host, port: where to answer.
        on_up: called once the app answers.

    Raises:
        OutputError: the folder cannot be written.
        SettingError: nobody can answer on *host* and *port*, or a setting is impossible.
    """
    _must_be_free(host, port)
    set_up(folder)
    import uvicorn

    # Models can be imported only once Django is set up.
    from layflat.web.work.reconcile import working

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            self.should_exit = self.should_exit or asked.is_set()
            await super().startup(sockets)
            on_up()

    config = uvicorn.Config(
        "layflat.web.asgi:application",
        host=host,
        port=port,
        log_level="warning",
        proxy_headers=False,
        # Without a limit an open stream of progress would keep the server from ending.
        timeout_graceful_shutdown=_GRACE_S,
    )
    with _ended_by_sigterm() as asked, working(), suppress(KeyboardInterrupt):
        Server(config).run()


def _must_be_free(host: str, port: int) -> None:
    """Say at once, and in one sentence, that the app could not answer there."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        socket.create_server((host, port), family=family).close()
    except OSError as error:
        raise SettingError(
            f"Layflat cannot answer on {host}, port {port}: {error.strerror or error}. Perhaps it "
            "runs there already; else name another --host or --port."
        ) from error


@contextmanager
def _ended_by_sigterm() -> Iterator[threading.Event]:
    """Let SIGTERM end the block as Ctrl-C does, so that what it started is ended too.

    uvicorn catches the signal, ends, and raises it again for whoever was there before. Python
    swallows what is raised while it cleans up after an import; the event says that it was asked.
    """
    asked = threading.Event()

    def end(_number: int, _frame: object) -> None:
        asked.set()
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield asked
    finally:
        signal.signal(signal.SIGTERM, before)
