"""A data folder with the invented workshop in it."""

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
