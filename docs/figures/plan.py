"""How a piece is laid, as on its laying sheet."""

from layflat.fit import plan_piece
from layflat.job import Piece
from layflat.papers import plan_picture


def laying_plan_picture(piece: Piece) -> str:
    """The flat shape of *piece* with its anchor, sweeps, measured pulls and heat."""
    plan = plan_piece(piece.flat, piece.region, wraps=piece.wraps)
    return plan_picture(piece.pattern, plan, width_mm=190.0, height_mm=100.0)
