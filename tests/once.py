"""What takes long to make and is the same for every test: made once for all workers of a run."""

import fcntl
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """The file or folder *name* that *make* makes, for every worker of this run.

    The first who asks makes it while the others wait; nobody may change it. What broke off half
    way is made again by the next who asks.
    """
    base = factory.getbasetemp()
    common = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    path, part = common / name, common / f"{name}-begun"
    with (common / f"{name}-lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            if part.is_dir():
                shutil.rmtree(part)
            part.unlink(missing_ok=True)
            make(part)
            part.rename(path)
    return path
