"""What a cut report says."""

from typing import Any

from layflat.cut.records import CutProgram


def cut_report(program: CutProgram) -> dict[str, Any]:
    """The results of a cut program as plain values, units in the names."""
    error = program.tip_error
    return {
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
            }
            for section in program.sections
        ],
    }
