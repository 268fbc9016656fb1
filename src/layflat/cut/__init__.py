"""Cutting: machine, knife, path, HP-GL, and the simulation of the blade's tip."""

from layflat.cut.check import AWAY_MM, CORNER_MM, check_program
from layflat.cut.compose import program
from layflat.cut.duration import run_seconds
from layflat.cut.machine import Machine, generic_machine, read_machine
from layflat.cut.reader import Stroke, read_hpgl
from layflat.cut.records import CutProgram, SectionProgram, TipError
from layflat.cut.report import cut_report
from layflat.cut.tip import TipPath, simulate

__all__ = [
    "AWAY_MM",
    "CORNER_MM",
    "CutProgram",
    "Machine",
    "SectionProgram",
    "Stroke",
    "TipError",
    "TipPath",
    "check_program",
    "cut_report",
    "generic_machine",
    "program",
    "read_hpgl",
    "read_machine",
    "run_seconds",
    "simulate",
]
