"""How a piece is laid, as its row keeps it: in words, lengths in mm, and a picture."""

from typing import Any

from layflat.film import to_flat
from layflat.fit import find_fingers, plan_piece
from layflat.job import Piece
from layflat.papers import marked_zones, plan_picture
from layflat.surface import BodyInfo

_PICTURE_MM = (178.0, 104.0)


def plan_files(piece: Piece, info: BodyInfo) -> tuple[dict[str, Any], bytes]:
    """The plan of a piece for its details, and its picture as SVG.

    The details: ``{"hold": [words], "tapes": [{"marks": "A – B", "where": words, "liner_mm",
    "car_mm"}], "wipes": [words], "heats": [words], "fingers": [{"along_mm", "depth_mm",
    "excess_mm", "flat": [x, y]}]}``; fingers are those with most film too much, the most first,
    each with its middle in the flat.

    Args:
        piece: as computed.
        info: its body, for what is up and ahead.
    """
    fingers = find_fingers(piece.flat)
    plan = plan_piece(
        piece.flat,
        piece.region,
        wraps=piece.wraps,
        fingers=fingers,
        up=info.up,
        forward=info.forward,
    )
    details = {
        "hold": list(plan.hold),
        "tapes": [
            {
                "marks": " – ".join(tape.letters),
                "where": " – ".join(tape.where),
                "liner_mm": round(tape.liner_mm, 1),
                "car_mm": round(tape.car_mm, 1),
            }
            for tape in plan.tapes
        ],
        "wipes": list(plan.wipes),
        "heats": [heat.sentence for heat in plan.heats],
        "fingers": [
            {
                "along_mm": round(zone.width_mm),
                "depth_mm": round(zone.depth_mm),
                "excess_mm": round(zone.excess_mm, 1),
                "flat": to_flat(piece.flat, zone.centre_mm[None])[0].round(2).tolist(),
            }
            for zone in marked_zones(fingers)
        ],
    }
    wide, high = _PICTURE_MM
    picture = plan_picture(piece.pattern, plan, width_mm=wide, height_mm=high)
    return details, picture.encode()
