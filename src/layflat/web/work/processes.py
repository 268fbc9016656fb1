"""Which process runs something, told so that another one on the same machine can see it is gone.

On Linux a process is named by the machine's present start, the space of process numbers (containers
have their own), its number, and its own start: a number that was given out anew is no longer taken
for it. Elsewhere no process has such a name, and nothing is ever known to be gone.
"""

import os
import sys
from pathlib import Path
from typing import Final

_PROC: Final = Path("/proc")
_DEAD: Final = ("Z", "X")
_STATE, _START = 0, 19  # places in /proc/…/stat after the name, see proc_pid_stat(5)


def this_process() -> str:
    """The name of this process; "" where there are no such names."""
    machine = _machine()
    stat = _stat(os.getpid()) if machine else None
    return f"{machine} {os.getpid()} {stat[_START]}" if stat else ""


def is_gone(name: str) -> bool:
    """Whether the process was on this machine and is no more; False also where nobody can tell."""
    machine, _, process = name.partition(" ")
    number, _, start = process.partition(" ")
    if not machine or machine != _machine() or not number.isdecimal():
        return False
    stat = _stat(int(number))
    return stat is None or stat[_STATE] in _DEAD or stat[_START] != start


def _machine() -> str:
    if sys.platform != "linux":
        return ""
    try:
        start = (_PROC / "sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
        return f"{start}/{(_PROC / 'self/ns/pid').readlink()}"
    except OSError:
        return ""


def _stat(number: int) -> list[str] | None:
    """What the system says of a process, from its state on; None when it is no more."""
    try:
        text = (_PROC / str(number) / "stat").read_text(encoding="utf-8", errors="replace")
    except (FileNotFoundError, ProcessLookupError):
        return None
    # The name before stands in brackets and may hold brackets itself.
    return text.rpartition(")")[2].split()
