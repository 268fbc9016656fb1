"""What commands share: progress on the screen, reports out, options with the same meaning."""

import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import click
from click.core import ParameterSource
from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as Bars

from layflat.base import (
    OutputError,
    Progress,
    Report,
    report_json,
    require_writable,
    write_files,
)

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


def answer_option(function: _Function) -> _Function:
    """``--answer``: to what a drawing asks, one by one."""
    return click.option(
        "--answer",
        "answers",
        multiple=True,
        metavar="NAME=CHOICE",
        help="Answer to what a drawing asks, such as unit=mm; may be given again. all=default "
        "takes what is likely.",
    )(function)


def require_outputs(
    *paths: Path | None, inputs: Iterable[Path | None], suffixes: tuple[str, ...] = ()
) -> None:
    """See, before long work, that its results can be written and take the place of no input.

    Args:
        paths: the files to be written, the result first.
        inputs: the files that are read.
        suffixes: of the result.
    """
    from layflat.job import suffix_of

    read = [path for path in inputs if path is not None]
    written = [path for path in paths if path is not None]
    if suffixes:
        suffix_of(written[0], suffixes)
    if len({path.resolve() for path in written}) < len(written):
        raise OutputError(f"{written[0]} is named for two results; name another file for one.")
    for path in written:
        require_writable(path, inputs=read)


def with_defaults(report: Report, names: Mapping[str, str]) -> Report:
    """*report* with options that nobody gave among its defaults.

    Args:
        report: what was computed.
        names: of options of the present command, with what a report calls them.
    """
    context = click.get_current_context()
    not_given = {
        said: context.params[option]
        for option, said in names.items()
        if context.get_parameter_source(option) is ParameterSource.DEFAULT
    }
    return replace(report, defaults={**report.defaults, **not_given})


def hand_out(
    report: Report,
    *,
    lines: list[str],
    as_json: bool,
    report_path: Path | None = None,
    texts: Mapping[Path, str] | None = None,
    files: Mapping[Path, bytes] | None = None,
) -> None:
    """Write all results and *report* where they were asked for, or none, and say the result.

    Args:
        report: what was computed, from what and how.
        lines: the result for a person.
        as_json: whether the report is said instead of the lines.
        report_path: where the report is written.
        texts, files: results to be written.
    """
    text = report_json(report)
    written = dict(texts or {}) | ({report_path: text} if report_path is not None else {})
    write_files({**{path: each.encode() for path, each in written.items()}, **(files or {})})
    if as_json:
        sys.stdout.write(text)
        return
    for line in lines:
        click.echo(line)
    for warning in report.warnings:
        click.echo(f"note: {warning}")
