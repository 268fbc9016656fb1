"""What commands share: progress on the screen, reports out, options with the same meaning."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click
from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as Bars

from layflat.base import Progress, Report, report_json, write_text

FILE = click.Path(path_type=Path, dir_okay=True)
UNITS = click.Choice(["mm", "cm", "m", "in"])
_Function = TypeVar("_Function", bound=Callable[..., Any])


@contextmanager
def progress_shown() -> Iterator[Progress]:
    """A progress bar on stderr while the block runs; nothing where stderr is no terminal."""
    console = Console(stderr=True)
    columns = (
        BarColumn(bar_width=28),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        TextColumn("{task.description}"),
    )
    with Bars(*columns, console=console, transient=True, disable=not console.is_terminal) as bars:
        task = bars.add_task("", total=1.0)

        def show(step: str, fraction: float) -> None:
            bars.update(task, description=step, completed=fraction)

        yield show


def json_option(function: _Function) -> _Function:
    """``--json``: the report on stdout, for machines."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print the report as JSON on stdout."
    )(function)


def report_option(function: _Function) -> _Function:
    """``--report``: the report into a file."""
    return click.option("--report", "report_path", type=FILE, help="Write the report (JSON) here.")(
        function
    )


def hand_out(
    report: Report, *, lines: list[str], as_json: bool, report_path: Path | None = None
) -> None:
    """Write *report* where it was asked for, and say the result: as JSON or as *lines*."""
    text = report_json(report)
    if report_path is not None:
        write_text(report_path, text)
    if as_json:
        sys.stdout.write(text)
        return
    for line in lines:
        click.echo(line)
    for warning in report.warnings:
        click.echo(f"note: {warning}")
