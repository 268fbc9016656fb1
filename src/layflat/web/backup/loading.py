"""Rows of a backup into an empty database of either kind, and up to this version's tables."""

import json
import zipfile
from collections.abc import Iterator
from itertools import islice
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction
from django.db.migrations.executor import MigrationExecutor

from layflat.base import InputError, Progress, SettingError
from layflat.web.backup import form
from layflat.web.backup.rows import columns_of, kept_models, name_of

_AT_ONCE: Final = 500


def require_empty() -> None:
    """See that nothing is in the database yet.

    Raises:
        SettingError: something is.
    """
    if connection.introspection.table_names():
        raise SettingError(
            "The database that DATABASE_URL names is not empty; name an empty one, so that nothing "
            "in it is lost."
        )


def require_known(manifest: form.Manifest) -> None:
    """See that this version knows every migration that the backup's database had.

    Raises:
        InputError: it does not.
    """
    known = {f"{app}.{name}" for app, name in MigrationExecutor(connection).loader.disk_migrations}
    if not set(manifest.migrations) <= known:
        raise form.newer(manifest.version)


def load(archive: zipfile.ZipFile, manifest: form.Manifest, *, progress: Progress) -> None:
    """Make the tables as the backup's database had them, fill them, and bring them up to date.

    On PostgreSQL call it in a transaction.

    Raises:
        InputError: the rows do not go into the tables.
    """
    executor = MigrationExecutor(connection)
    had = {(app, name) for app, _, name in (key.partition(".") for key in manifest.migrations)}
    executor.migrate(_last(executor, had), fake_initial=False)
    apps = executor.loader.project_state(sorted(had)).apps
    by_name = {name_of(model): model for model in kept_models(apps)}
    if set(by_name) != {table.model for table in manifest.tables}:
        raise InputError(
            "The backup lists other tables than its version has; nothing was restored."
        )
    _fill(archive, manifest, by_name, progress)
    # The same again with what has come since.
    executor = MigrationExecutor(connection)
    executor.migrate(executor.loader.graph.leaf_nodes())


def _last(executor: MigrationExecutor, had: set[tuple[str, str]]) -> list[tuple[str, str]]:
    """Of each part the last migration that the database had."""
    nodes = executor.loader.graph.node_map
    return sorted(
        key
        for key in had
        if not any(child.key in had and child.key[0] == key[0] for child in nodes[key].children)
    )


def _fill(
    archive: zipfile.ZipFile,
    manifest: form.Manifest,
    by_name: dict[str, type[models.Model]],
    progress: Progress,
) -> None:
    total, done = max(1, sum(table.rows for table in manifest.tables)), 0
    at = "one table"
    # Migrations in the same transaction may have left PostgreSQL checking row by row; tables are
    # filled in no order of their own.
    connection.check_constraints()
    try:
        with connection.constraint_checks_disabled(), transaction.atomic():
            # Migrations may have put rows in.
            for model in by_name.values():
                _delete_all(model)
            for table in manifest.tables:
                model, at = by_name[table.model], f"“{table.model}”"
                for many in _rows(archive, table, model):
                    _insert(model, many)
                    done += len(many)
                    progress("restoring rows", min(1.0, done / total))
        connection.check_constraints()
    except (DatabaseError, ValidationError, TypeError, ValueError, OverflowError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"A row of {at} in the backup does not go into the database; nothing was restored."
        ) from error
    if done != sum(table.rows for table in manifest.tables):
        raise InputError("The backup has other rows than it lists; nothing was restored.")
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(by_name.values())):
            cursor.execute(statement)


def _delete_all(model: type[models.Model]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {connection.ops.quote_name(model._meta.db_table)}")


def _rows(
    archive: zipfile.ZipFile, table: form.Table, model: type[models.Model]
) -> Iterator[list[list[Any]]]:
    """The rows of a table, some at once, each value as the database takes it."""
    fields = columns_of(model)
    if tuple(field.attname for field in fields) != table.columns:
        raise InputError(f"The backup's “{table.model}” has other columns; nothing was restored.")
    lines = _lines(archive, table.entry)
    while many := list(islice(lines, _AT_ONCE)):
        found = []
        for line in many:
            values = json.loads(line)
            if not isinstance(values, list) or len(values) != len(fields):
                raise ValueError(table.model)
            found.append(
                [_value(field, value) for field, value in zip(fields, values, strict=True)]
            )
        yield found


def _value(field: "models.Field[Any, Any]", value: Any) -> Any:
    # What a JSON field holds is JSON already; everything else reads its own text.
    plain = value if isinstance(field, models.JSONField) else field.to_python(value)
    return field.get_db_prep_save(plain, connection)


def _lines(archive: zipfile.ZipFile, entry: form.Entry) -> Iterator[bytes]:
    rest = b""
    for chunk in form.chunks_of(archive, entry):
        *whole, rest = (rest + chunk).split(b"\n")
        if len(rest) > form.MOST_LINE_BYTES:
            raise InputError(f"A row in “{entry.name}” is longer than any; nothing was restored.")
        yield from whole
    if rest:
        raise InputError(f"“{entry.name}” in the backup ends within a row; nothing was restored.")


def _insert(model: type[models.Model], rows: list[list[Any]]) -> None:
    quote = connection.ops.quote_name
    columns = ", ".join(quote(field.column or field.attname) for field in columns_of(model))
    places = ", ".join(["%s"] * len(columns_of(model)))
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({places})", rows
        )
