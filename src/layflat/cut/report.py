"""What a cut report says."""

from typing import Any

from layflat.cut.records import CutProgram
from layflat.cut.tolerance import Tolerance


def cut_report(program: CutProgram, *, tolerance: Tolerance | None = None) -> dict[str, Any]:
    """The results of a cut program as plain values, units in the names.

    Args:
        program: that was made.
        tolerance: what it would cut with a blade of another offset, if that was asked.
    """
    error = program.tip_error
    offset = {} if tolerance is None else {"offset_wrong": _tolerance(tolerance)}
    return offset | {
        "machine": program.machine,
        "tip_error_max_mm": error.max_away_mm,
        "tip_error_p95_mm": error.p95_mm,
        "tip_error_corner_max_mm": error.max_corner_mm,
        "overlap_least_mm": error.least_overlap_mm,
        "seconds_estimated": program.seconds,
        "cut_length_mm": program.cut_length_mm,
        "travel_length_mm": program.travel_length_mm,
        "strokes": program.strokes,
        "sections": [
            {
                "number": section.number,
                "start_mm": section.start_mm,
                "end_mm": section.end_mm,
                "pieces": list(section.pieces),
                "cut_mm": section.cut_length_mm,
                "travel_mm": section.travel_length_mm,
                "seconds": section.seconds,
                "cuts": [
                    {
                        "name": name,
                        "kind": cut.kind,
                        "piece": None if cut.piece is None else section.pieces[cut.piece],
                        "first_stroke": cut.first,
                        "strokes": cut.last - cut.first,
                    }
                    for name, cut in zip(section.cut_names, section.cuts, strict=True)
                ],
                "bridges": [
                    {
                        "piece": section.pieces[bridge.piece],
                        "kind": bridge.kind,
                        "x_mm": bridge.x_mm,
                        "y_mm": bridge.y_mm,
                        "length_mm": bridge.length_mm,
                    }
                    for bridge in section.bridges
                ],
                "rectangles": [
                    {
                        "return": one.number,
                        "along_mm": one.along_mm,
                        "across_mm": one.across_mm,
                        "diagonal_mm": one.diagonal_mm,
                    }
                    for one in section.rectangles
                ],
                "witnesses": [
                    {"name": mark.name, "x_mm": mark.x_mm, "y_mm": mark.y_mm}
                    for mark in section.witnesses
                ],
            }
            for section in program.sections
        ],
    }


def _tolerance(tolerance: Tolerance) -> dict[str, Any]:
    return {
        "wrong_mm": tolerance.wrong_mm,
        "tip_error_curves_max_mm": tolerance.curve_mm,
        "tip_error_near_corners_max_mm": tolerance.corner_mm,
        "corner_reach_mm": tolerance.reach_mm,
        "sharpest_turn_deg": tolerance.turn_deg,
        "tip_beside_line_after_turn_mm": tolerance.swivel_mm,
        "worst_line": tolerance.where,
        "sentence": tolerance.sentence,
    }
