"""What else a piece's page says: wraps, a blank beside the pattern, left and right."""

from typing import Any, Final

import numpy as np

from layflat.film import to_flat
from layflat.job import Computed, Piece, blank_of
from layflat.papers import panel_title
from layflat.pattern import Reason

WHY: Final = {
    Reason.STRETCH: "deeper, the film would be stretched too much",
    Reason.CROWDING: "deeper, it would finger",
    Reason.FLANGE: "the metal ends there",
    Reason.ROOM: "there is no more room",
}


def wraps_json(piece: Piece) -> list[dict[str, Any]]:
    """How deep film can be wrapped round each edge that it is wrapped round.

    ``[{"name", "wanted_mm", "least_mm", "most_mm", "notches": int, "why": [words]}, …]``.
    """
    return [
        {
            "name": edge.name,
            "wanted_mm": round(depths.wanted_mm, 1),
            "least_mm": round(float(depths.mm.min()), 1),
            "most_mm": round(depths.deepest_mm, 1),
            "notches": len(depths.notches),
            "why": [WHY[reason] for reason in depths.why() if reason in WHY],
        }
        for edge, depths in piece.wraps
    ]


def blank_json(piece: Piece, computed: Computed) -> dict[str, Any]:
    """A bulk rectangle trimmed on the car beside the pattern, without prices.

    ``{"take": bool, "along_mm", "across_mm", "blank_mm2", "fitted_mm2", "blank_min",
    "fitted_min", "trimmed_mm", "beside_paint_mm", "on_paint_mm", "against": [words],
    "caution"}``; the sides and the blank's area are None where no roll is wide enough.
    """
    found = blank_of(piece, computed.layout, cutting_s=computed.program.seconds)
    lying = found.rectangle
    return {
        "take": found.take_blank,
        "along_mm": None if lying is None else round(lying.along_mm),
        "across_mm": None if lying is None else round(lying.across_mm),
        "blank_mm2": None if lying is None else round(found.blank_mm2),
        "fitted_mm2": round(found.fitted_mm2),
        "blank_min": round(found.blank_min),
        "fitted_min": round(found.fitted_min),
        "trimmed_mm": round(found.trimmed_mm),
        "beside_paint_mm": round(found.beside_paint_mm),
        "on_paint_mm": round(found.on_paint_mm),
        "against": list(found.against),
        "caution": found.caution,
    }


def pair_json(piece: Piece) -> dict[str, Any] | None:
    """The piece's panel beside that of the other side; None where that one is not covered.

    ``{"other": its title, "is_shared": bool, "is_mirrored": bool, "surface_mm", "outline_mm",
    "tolerance_mm", "flat": [x, y] | None}``; the place is where their surfaces differ most, on the
    right panel.
    """
    pair = piece.pair
    if pair is None:
        return None
    left, right = pair.names
    is_right = piece.panel.name == right
    place = None
    if is_right and not pair.shared:
        (spot,) = to_flat(piece.flat, np.asarray(pair.surface.where_mm)[None])
        place = spot.round(2).tolist()
    return {
        "other": panel_title(left if is_right else right),
        "is_shared": pair.shared,
        "is_mirrored": piece.is_mirrored,
        "surface_mm": round(pair.surface.greatest_mm, 2),
        "outline_mm": round(pair.outline.greatest_mm, 2),
        "tolerance_mm": pair.tolerance_mm,
        "flat": place,
    }
