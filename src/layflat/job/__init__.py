"""One job from cover to papers, and the single steps of it on files of their own."""

from layflat.job.blank import blank_of
from layflat.job.compute import Computed, compute, computed_notes, computed_results, lay_out
from layflat.job.done import Done, suffix_of
from layflat.job.fitting import Front, fit_front
from layflat.job.fitting_records import MOST_RELIEFS, FittedPanel, Fitting
from layflat.job.front import FrontResult, fit_job, front_results, write_front
from layflat.job.laying import laying_advice, laying_order
from layflat.job.order import Cover, FilmOrder, LayoutOrder, Order, PriceOrder, read_order
from layflat.job.pieces import (
    Piece,
    covered_words,
    make_piece,
    part_regions,
    whole_region,
)
from layflat.job.recipe import JobResult, run_job, write_job
from layflat.job.sides import make_pieces
from layflat.job.single import check_file, flatten_file, reading_notes
from layflat.job.single_calibrate import calibrate_file, calibration_files
from layflat.job.single_cut import cut_file
from layflat.job.single_drawing import check_drawing, parse_answers
from layflat.job.single_lay import lay_file
from layflat.job.single_nest import nest_files
from layflat.job.single_propose import propose_start
from layflat.job.single_recover import StoppedAt, recover_files
from layflat.job.single_revise import Revised, revise_file
from layflat.job.single_strip import strip_file
from layflat.job.week import WeekResult, run_week, write_week
from layflat.job.week_order import WeekOrder, read_week

__all__ = [
    "MOST_RELIEFS",
    "Computed",
    "Cover",
    "Done",
    "FilmOrder",
    "FittedPanel",
    "Fitting",
    "Front",
    "FrontResult",
    "JobResult",
    "LayoutOrder",
    "Order",
    "Piece",
    "PriceOrder",
    "Revised",
    "StoppedAt",
    "WeekOrder",
    "WeekResult",
    "blank_of",
    "calibrate_file",
    "calibration_files",
    "check_drawing",
    "check_file",
    "compute",
    "computed_notes",
    "computed_results",
    "covered_words",
    "cut_file",
    "fit_front",
    "fit_job",
    "flatten_file",
    "front_results",
    "lay_file",
    "lay_out",
    "laying_advice",
    "laying_order",
    "make_piece",
    "make_pieces",
    "nest_files",
    "parse_answers",
    "part_regions",
    "propose_start",
    "read_order",
    "read_week",
    "reading_notes",
    "recover_files",
    "revise_file",
    "run_job",
    "run_week",
    "strip_file",
    "suffix_of",
    "whole_region",
    "write_front",
    "write_job",
    "write_week",
]
