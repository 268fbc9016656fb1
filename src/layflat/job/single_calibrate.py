"""The work of `layflat calibrate`: a calibration sheet, and from its readings a machine file."""

import datetime
from pathlib import Path
from typing import Any

from layflat.base import Report, counted
from layflat.cut import (
    LENGTHS,
    SCORES,
    CalibrationSheet,
    Machine,
    calibrated,
    calibration_sheet,
    generic_machine,
    machine_toml,
    nominal_mm,
    read_machine,
    read_readings,
    readings_form,
    told_text,
)
from layflat.job.done import Done
from layflat.papers import CalibrationLine, CalibrationPaper, Head, calibration_document


def machine_of(path: Path | None, defaults: dict[str, Any], inputs: dict[str, str]) -> Machine:
    """The machine in the file at *path*, or the generic one; what was taken by default is noted."""
    if path is None:
        machine = generic_machine()
        defaults["machine"] = machine.name
        return machine
    inputs |= Report.hashes(path)
    machine = read_machine(path)
    defaults |= {f"machine.{key}": value for key, value in machine.defaults.items()}
    return machine


def calibration_files(
    *,
    machine_path: Path | None = None,
    width_mm: float,
    side_mm: float = 400.0,
    workshop: str = "",
    day: datetime.date,
) -> tuple[Done, bytes]:
    """A calibration sheet: its program, its form for readings (.toml), and its paper as a PDF.

    Args:
        machine_path: a machine file, or None for the generic plotter.
        width_mm: of the roll.
        side_mm: of the square that is measured.
        workshop: what stands on the paper.
        day: that the paper and the form carry.

    Raises:
        InputError: the machine file cannot be used, or roll and machine have no room.
        CheckError: the simulated cut does not run where it is meant to.
    """
    defaults: dict[str, Any] = {}
    inputs: dict[str, str] = {}
    machine = machine_of(machine_path, defaults, inputs)
    sheet = calibration_sheet(machine, width_mm=width_mm, side_mm=side_mm)
    told = told_text(sheet.hpgl, machine)
    head = Head(workshop=workshop, job="Calibration", number="", vehicle=machine.name, dated=day)
    notes = [
        "Switch off what the machine itself corrects, and cut with a fresh blade.",
        "Hands off the moving head; the machine maker's instructions go first.",
    ]
    if not sheet.forces_g:
        notes.append(
            "The machine file does not let the force be sent, so that the sheet has no row of "
            "forces: set them at the machine and write down what each did."
        )
    done = Done(
        texts={".plt": told, ".hpgl": told, ".toml": readings_form(sheet, day=day)},
        report=Report(
            kind="calibration sheet",
            inputs=inputs,
            results={
                "machine": machine.name,
                "side_mm": sheet.side_mm,
                "circle_mm": sheet.circle_mm,
                "length_mm": sheet.length_mm,
                "width_mm": sheet.width_mm,
                "offsets_mm": list(sheet.offsets_mm),
                "overcuts_mm": list(sheet.overcuts_mm),
                "forces_g": list(sheet.forces_g),
                "strokes": len(sheet.cuts),
            },
            defaults=defaults,
            warnings=tuple(notes),
        ),
        sentence=(
            f"a calibration sheet for “{machine.name}”: {sheet.length_mm:g} mm along the roll, a "
            f"square of {sheet.side_mm:g} mm to measure."
        ),
    )
    return done, calibration_document(_paper(sheet, head)).pdf()


def _paper(sheet: CalibrationSheet, head: Head) -> CalibrationPaper:
    return CalibrationPaper(
        head=head,
        film_mm=sheet.length_mm,
        lines=tuple(
            CalibrationLine(group=cut.group, name=cut.name, points_mm=cut.line_mm)
            for cut in sheet.cuts
        ),
        lengths=tuple(
            (words, nominal_mm(name, side_mm=sheet.side_mm, circle_mm=sheet.circle_mm))
            for name, words in LENGTHS.items()
        ),
        offsets_mm=sheet.offsets_mm,
        overcuts_mm=sheet.overcuts_mm,
        forces_g=sheet.forces_g,
        scores=SCORES,
    )


def calibrate_file(path: Path, *, machine_path: Path | None = None) -> Done:
    """The machine file that the readings in the file at *path* give.

    Args:
        path: readings of a calibration sheet (TOML).
        machine_path: the machine as it was known when the sheet was cut, or None for the generic
            plotter.

    Raises:
        InputError: a file cannot be used, or the readings cannot be; says why.
    """
    defaults: dict[str, Any] = {}
    inputs = Report.hashes(path)
    machine = machine_of(machine_path, defaults, inputs)
    readings = read_readings(path)
    found = calibrated(machine, readings, where=path.name)
    lines = [
        f"{item.name:>16}  {item.words}{'' if item.taken else '  (contradicts itself; not taken)'}"
        for item in found.measured
    ]
    taken = sum(item.taken for item in found.measured)
    return Done(
        texts={".toml": machine_toml(found.machine)},
        report=Report(
            kind="calibration",
            inputs=inputs,
            results={
                "machine": machine.name,
                "day": readings.day.isoformat(),
                "measured": {
                    item.name: {
                        "value": item.value,
                        "error_95": item.error,
                        "readings": item.readings,
                        "taken": item.taken,
                    }
                    for item in found.measured
                },
            },
            defaults=defaults | dict(readings.defaults or {}),
            warnings=found.notes,
        ),
        sentence=f"“{found.machine.name}” with {counted(taken, 'measured value')}.",
        lines=tuple(lines),
    )
