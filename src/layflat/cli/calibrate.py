"""`layflat calibrate`: a calibration sheet, and a machine file from its readings."""

import datetime
from pathlib import Path

import click

from layflat.base import SettingError
from layflat.cli.console import (
    FILE,
    hand_out,
    json_option,
    report_option,
    require_outputs,
    with_defaults,
)

_NAMES = {"width": "width_mm", "side": "side_mm", "workshop": "workshop"}


@click.command("calibrate")
@click.option(
    "--machine", "machine_path", type=FILE, help="Machine file (TOML); the generic plotter without."
)
@click.option(
    "--read", "readings", type=FILE, help="Readings of a sheet (TOML): write the machine file."
)
@click.option(
    "--width", type=float, default=610.0, show_default=True, help="Width of the roll in mm."
)
@click.option(
    "--side",
    type=click.FloatRange(200.0, 2000.0),
    default=400.0,
    show_default=True,
    help="Side of the square that is measured, in mm.",
)
@click.option("--paper", type=FILE, help="Write what to measure and where to write it (PDF) here.")
@click.option("--form", type=FILE, help="Write the file of readings to fill in (TOML) here.")
@click.option("--workshop", default="", help="What the paper calls the workshop.")
@click.option(
    "-o", "--output", type=FILE, required=True, help="The sheet: .plt; with --read: .toml."
)
@report_option
@json_option
def command(
    machine_path: Path | None,
    readings: Path | None,
    width: float,
    side: float,
    paper: Path | None,
    form: Path | None,
    workshop: str,
    output: Path,
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Cut a calibration sheet, measure it, and let the machine file say what was measured.

    First a sheet is made, with its paper and a file of readings to fill in; then --read turns the
    readings into a machine file: scale along and across the roll, skew, knife offset, overcut and
    force by least squares, each with its uncertainty. Readings that contradict each other are
    named, and nothing that rests on them is taken.

    \b
    Examples:
      layflat calibrate --machine old.toml -o sheet.plt --paper sheet.pdf --form readings.toml
      layflat calibrate --machine old.toml --read readings.toml -o machine.toml

    Hands, hair and sleeves stay away from the moving head; change blades with the machine off.
    The machine maker's instructions go first.
    """
    if readings is not None:
        _read(readings, machine_path, (paper, form), output, report_path, as_json=as_json)
        return
    from layflat.job import calibration_files

    outputs = (output, report_path, paper, form)
    require_outputs(*outputs, inputs=(machine_path,), suffixes=(".plt", ".hpgl"))
    done, pdf = calibration_files(
        machine_path=machine_path,
        width_mm=width,
        side_mm=side,
        workshop=workshop,
        day=datetime.datetime.now().astimezone().date(),
    )
    texts = {output: done.text_for(output)}
    if form is not None:
        texts[form] = done.texts[".toml"]
    hand_out(
        with_defaults(done.report, _NAMES),
        lines=[f"{output}: {done.sentence}"],
        as_json=as_json,
        report_path=report_path,
        texts=texts,
        files={} if paper is None else {paper: pdf},
    )


def _read(
    readings: Path,
    machine_path: Path | None,
    unwanted: tuple[Path | None, ...],
    output: Path,
    report_path: Path | None,
    *,
    as_json: bool,
) -> None:
    """The machine file from the readings."""
    from layflat.job import calibrate_file

    if any(path is not None for path in unwanted):
        raise SettingError("--paper and --form belong to a new sheet; leave them out with --read.")
    require_outputs(output, report_path, inputs=(readings, machine_path), suffixes=(".toml",))
    done = calibrate_file(readings, machine_path=machine_path)
    hand_out(
        done.report,
        lines=[*done.lines, f"{output}: {done.sentence}"],
        as_json=as_json,
        report_path=report_path,
        texts={output: done.text_for(output)},
    )
