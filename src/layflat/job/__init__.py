"""One job from cover to papers, and the single steps of it on files of their own."""

from layflat.job.done import Done, suffix_of
from layflat.job.order import Cover, LayoutOrder, Order, PriceOrder, read_order
from layflat.job.pieces import Piece, make_pieces
from layflat.job.recipe import JobResult, lay_out, run_job, write_job
from layflat.job.single import check_file, flatten_file
from layflat.job.single_cut import cut_file
from layflat.job.single_nest import nest_files

__all__ = [
    "Cover",
    "Done",
    "JobResult",
    "LayoutOrder",
    "Order",
    "Piece",
    "PriceOrder",
    "check_file",
    "cut_file",
    "flatten_file",
    "lay_out",
    "make_pieces",
    "nest_files",
    "read_order",
    "run_job",
    "suffix_of",
    "write_job",
]
