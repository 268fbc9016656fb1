"""The app on an empty SQLite of its own, for benches."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def empty_app() -> Iterator[None]:
    """Django, set up on a data folder that goes at the end."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ.pop("DATABASE_URL", None)
        os.environ["LAYFLAT_DATA"] = folder
        os.environ["DJANGO_SETTINGS_MODULE"] = "layflat.web.settings"
        from django.db import connections

        from layflat.web.serve import set_up

        set_up(Path(folder))
        try:
            yield
        finally:
            connections.close_all()
