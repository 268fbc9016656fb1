"""A data folder with the invented workshop in it."""

import threading
from pathlib import Path

from layflat.base import Progress, silent
from layflat.web.serve import set_up


def open_demo(folder: Path, *, progress: Progress = silent) -> tuple[str, ...]:
    """Put the invented workshop into *folder* where nobody has opened a shop yet.

    Returns:
        What is there and how to sign in, a line each.

    Raises:
        OutputError: the folder cannot be written.
        StoppedError: raised by *progress*; the folder stays without a shop then.
    """
    set_up(folder)
    # Models can be imported only once Django is set up.
    from layflat.web.seed import is_empty, is_invented, seed_workshop, sign_in_lines

    if is_empty():
        seed_workshop(progress=progress)
    elif not is_invented():
        return (f"{folder} has a shop already; nothing was added to it.",)
    return sign_in_lines()


def go_on_inventing() -> None:
    """Have the invented jobs' covers computed and offered beside the app, which answers already.

    Nothing happens in a folder with a shop of its own.
    """
    threading.Thread(target=_invent, name="inventing", daemon=True).start()


def _invent() -> None:
    from layflat.web.seed import is_invented
    from layflat.web.seed_bay import go_on_until_done

    if is_invented():
        go_on_until_done()
