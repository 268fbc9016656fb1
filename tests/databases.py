"""Databases of tests, with the app's tables."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management import call_command
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.utils import ConnectionHandler
from pytest_django.plugin import DjangoDbBlocker


@contextmanager
def in_place(here: BaseDatabaseWrapper) -> Iterator[None]:
    """Have models use this connection, and other threads one like it, while the block runs."""
    before, known = connections["default"], connections.settings["default"]
    connections["default"], connections.settings["default"] = here, here.settings_dict
    try:
        yield
    finally:
        connections["default"], connections.settings["default"] = before, known


def migrate(chosen: Any, blocker: DjangoDbBlocker) -> None:
    """Make the app's tables in the database of these settings."""
    here = ConnectionHandler({"default": chosen})["default"]
    with blocker.unblock(), in_place(here):
        call_command("migrate", interactive=False, verbosity=0)
    here.close()
