"""A real piece of a small body, made once."""

from functools import cache
from types import SimpleNamespace

from layflat.film import generic_film
from layflat.job import Cover, Piece, make_pieces
from layflat.pattern import EdgeFinish, Finish
from layflat.surface import mend
from layflat.web.cover.choices import RULES
from layflat.web.cover.fit_files import FitFiles, fit_files
from web.bodies.conftest import dome, info


@cache
def a_piece() -> Piece:
    """The dome's one panel, wrapped round one edge."""
    wrapped = {"low": EdgeFinish(Finish.WRAP, 8.0)}
    order = SimpleNamespace(
        share_sides=False,
        covers=(Cover(panel="hood", finishes=wrapped),),
        finger_aversion=1.0,
        finishes=RULES,
    )
    (piece,) = make_pieces(order, mend(dome()).mesh, info(), generic_film())
    return piece


@cache
def its_files() -> FitFiles:
    """What pages show of it."""
    return fit_files(a_piece())
