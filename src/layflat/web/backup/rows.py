"""All rows of a database as they stood at one moment, while people go on working.

One form for SQLite and PostgreSQL: each model's rows, field by field, as its own migrations know
them. So a backup of one database goes into the other, and one of an older version into a newer.
"""

import datetime
import json
from collections.abc import Iterator
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django.apps.registry import Apps
from django.db import connection as default
from django.db import connections, models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader

from layflat.web.backup.form import newer

ALIAS: Final = "layflat-backup"
LEFT_OUT: Final = frozenset({"sessions.Session"})
"""Who is signed in is not kept: after a restore everybody signs in again."""
_AT_ONCE: Final = 2000


@dataclass(frozen=True, kw_only=True)
class Snapshot:
    """A database at one moment; good within the `snapshot` that gave it.

    Attributes:
        apps: models as the database has them.
        migrations: "app.name" of each that it has.
    """

    apps: Apps
    migrations: tuple[str, ...]

    def models(self) -> list[type[models.Model]]:
        """Every model with a table, those between others included."""
        return kept_models(self.apps)


def kept_models(apps: Apps) -> list[type[models.Model]]:
    """Models whose rows a backup keeps, by name."""
    found = [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and name_of(model) not in LEFT_OUT
    ]
    return sorted(found, key=name_of)


def name_of(model: type[models.Model]) -> str:
    """A model's name in a backup, such as "jobs.Job"."""
    return f"{model._meta.app_label}.{model._meta.object_name}"


def columns_of(model: type[models.Model]) -> list["models.Field[Any, Any]"]:
    """A model's fields that have columns."""
    return list(model._meta.concrete_fields)


@contextmanager
def snapshot() -> Iterator[Snapshot]:
    """The database as it stands now, for as long as the block runs; nobody waits for it.

    On PostgreSQL a REPEATABLE READ transaction that only reads, on SQLite a read transaction of its
    write-ahead log: both see what was committed when they began, and neither holds writers up.

    Raises:
        InputError: a newer Layflat made the database.
    """
    here = _apart()
    before = ALIAS in connections.settings
    connections.settings[ALIAS] = here.settings_dict
    connections[ALIAS] = here
    try:
        with transaction.atomic(using=ALIAS):
            if here.vendor == "postgresql":
                with here.cursor() as cursor:
                    cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            # The first read fixes the moment.
            loader = MigrationLoader(here)
            applied = sorted(loader.applied_migrations)
            known = {app for app, _ in loader.disk_migrations}
            if any(
                app in known and (app, name) not in loader.disk_migrations for app, name in applied
            ):
                raise newer("")
            applied = [key for key in applied if key[0] in known]
            yield Snapshot(
                apps=loader.project_state(applied).apps,
                migrations=tuple(f"{app}.{name}" for app, name in applied),
            )
    finally:
        here.close()
        del connections[ALIAS]
        if not before:
            del connections.settings[ALIAS]


def _apart() -> BaseDatabaseWrapper:
    """A connection of its own, whose transactions begin as readers."""
    values = deepcopy(default.settings_dict)
    if default.vendor == "sqlite":
        # The app's own begin as writers, of which there is one at a time.
        values["OPTIONS"] = {**values.get("OPTIONS", {}), "transaction_mode": "DEFERRED"}
    return type(connections["default"])(values, ALIAS)


def count(model: type[models.Model]) -> int:
    """How many rows a model has in the snapshot."""
    return model._base_manager.using(ALIAS).count()


def rows_of(model: type[models.Model]) -> Iterator[tuple[Any, ...]]:
    """A model's rows in the snapshot, in the order of their keys."""
    names = [field.attname for field in columns_of(model)]
    rows = model._base_manager.using(ALIAS).order_by("pk").values_list(*names)
    return rows.iterator(chunk_size=_AT_ONCE)


def line_of(row: tuple[Any, ...]) -> bytes:
    """A row as it is written: the same row of either database gives the same bytes."""
    return json.dumps(row, default=_plain, sort_keys=True, separators=(",", ":")).encode() + b"\n"


def _plain(value: object) -> str:
    if isinstance(value, datetime.date):  # a moment, too
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    raise TypeError(type(value))
