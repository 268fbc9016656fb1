"""Cutting: machine, knife, path, HP-GL, and the simulation of the blade's tip."""

from layflat.cut.affine import Affine, fit_affine
from layflat.cut.calibrate import Calibration, Measured, calibrated
from layflat.cut.calibrate_readings import (
    LENGTHS,
    SCORES,
    Diagonals,
    Readings,
    Step,
    nominal_mm,
    read_readings,
    readings_form,
)
from layflat.cut.calibrate_sheet import CalibrationSheet, SheetCut, calibration_sheet
from layflat.cut.check import AWAY_MM, CORNER_MM, check_program, landed
from layflat.cut.compose import program
from layflat.cut.dialect import Told, plain_text, told_commands, told_place, told_text, told_whole
from layflat.cut.drift import Drift, SlipReading, judge_drift, stopped
from layflat.cut.duration import run_seconds, stroke_seconds
from layflat.cut.from_text import program_from_text
from layflat.cut.machine import Machine, generic_machine, machine_toml, read_machine
from layflat.cut.marks_file import MarkReadings, read_marks
from layflat.cut.owners import piece_strokes
from layflat.cut.reader import Stroke, read_hpgl
from layflat.cut.records import (
    Bridge,
    Cut,
    CutKind,
    CutProgram,
    Rectangle,
    SectionProgram,
    TipError,
    Witness,
)
from layflat.cut.recover import Booked, Laying, PieceState, Recovery, State, recover
from layflat.cut.report import cut_report
from layflat.cut.safe import cuts_among, safe_points
from layflat.cut.slip import NO_SLIP, Slip, slip_of
from layflat.cut.straighten import bent_section, beyond_reach_mm, straightened
from layflat.cut.time_learned import TimeRatio, time_ratio
from layflat.cut.times_file import read_times
from layflat.cut.tip import TipPath, simulate
from layflat.cut.tolerance import (
    WRONG_MM,
    Tolerance,
    swivel_off_mm,
    tolerance_of,
    usual_tolerance,
)
from layflat.cut.wishes import (
    HINGES_MM,
    MOST_TABS,
    NO_WISHES,
    STRIPS_MM,
    TAB_MM,
    TABS_MM,
    Wishes,
)
from layflat.cut.witness import witnessed

__all__ = [
    "AWAY_MM",
    "CORNER_MM",
    "HINGES_MM",
    "LENGTHS",
    "MOST_TABS",
    "NO_SLIP",
    "NO_WISHES",
    "SCORES",
    "STRIPS_MM",
    "TABS_MM",
    "TAB_MM",
    "WRONG_MM",
    "Affine",
    "Booked",
    "Bridge",
    "Calibration",
    "CalibrationSheet",
    "Cut",
    "CutKind",
    "CutProgram",
    "Diagonals",
    "Drift",
    "Laying",
    "Machine",
    "MarkReadings",
    "Measured",
    "PieceState",
    "Readings",
    "Recovery",
    "Rectangle",
    "SectionProgram",
    "SheetCut",
    "Slip",
    "SlipReading",
    "State",
    "Step",
    "Stroke",
    "TimeRatio",
    "TipError",
    "TipPath",
    "Told",
    "Tolerance",
    "Wishes",
    "Witness",
    "bent_section",
    "beyond_reach_mm",
    "calibrated",
    "calibration_sheet",
    "check_program",
    "cut_report",
    "cuts_among",
    "fit_affine",
    "generic_machine",
    "judge_drift",
    "landed",
    "machine_toml",
    "nominal_mm",
    "piece_strokes",
    "plain_text",
    "program",
    "program_from_text",
    "read_hpgl",
    "read_machine",
    "read_marks",
    "read_readings",
    "read_times",
    "readings_form",
    "recover",
    "run_seconds",
    "safe_points",
    "simulate",
    "slip_of",
    "stopped",
    "straightened",
    "stroke_seconds",
    "swivel_off_mm",
    "time_ratio",
    "told_commands",
    "told_place",
    "told_text",
    "told_whole",
    "tolerance_of",
    "usual_tolerance",
    "witnessed",
]
