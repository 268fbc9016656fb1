"""How a piece is laid, as its row keeps it: in words, lengths in mm, and a picture."""

from typing import Any

from layflat.fit import find_fingers, plan_piece
from layflat.job import Piece
from layflat.papers import plan_picture
from layflat.surface import BodyInfo

_LEAST_EXCESS_MM = 0.2
_MOST_ZONES = 9
_PICTURE_MM = (178.0, 104.0)


def plan_files(piece: Piece, info: BodyInfo) -> tuple[dict[str, Any], bytes]:
    """The plan of a piece for its details, and its picture as SVG.

    The details: ``{"hold": [words], "tapes": [{"marks": "A – B", "where": words, "liner_mm",
    "car_mm"}], "wipes": [words], "heats": [words], "fingers": [{"along_mm", "depth_mm",
    "excess_mm"}]}``; fingers are those with most film too much, the most first.

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
    zones = sorted(fingers.zones, key=lambda zone: -zone.excess_mm)[:_MOST_ZONES]
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
        "heats": [f"{heat.words[0].upper()}{heat.words[1:]}" for heat in plan.heats],
        "fingers": [
            {
                "along_mm": round(zone.width_mm),
                "depth_mm": round(zone.depth_mm),
                "excess_mm": round(zone.excess_mm, 1),
            }
            for zone in zones
            if zone.excess_mm >= _LEAST_EXCESS_MM
        ],
    }
    wide, high = _PICTURE_MM
    picture = plan_picture(piece.pattern, plan, width_mm=wide, height_mm=high)
    return details, picture.encode()
