"""What a correction changes, in figures for its page."""

from typing import Any

from layflat.revise import Revision


def figures_of(made: Revision, factor: int) -> dict[str, Any]:
    """What a correction changes, as its page says it; lengths in mm.

    Args:
        made: the revision.
        factor: how many times as large its picture draws moves.

    Returns:
        `number`; `largest_mm`, `largest_where`, `rms_mm` of the moves; `drawn`, the factor;
        `cars`, `laid_mm` how much cars were laid otherwise, `reach_mm`, and `weights` by car;
        `notes`, for each its name, place in words and what it still asks for.
    """
    return {
        "number": made.number,
        "largest_mm": made.summary.largest_mm,
        "largest_where": made.summary.largest_where,
        "rms_mm": made.summary.rms_mm,
        "drawn": factor,
        "cars": len({note.car for note in made.notes}),
        "laid_mm": made.scatter.car_mm,
        "reach_mm": made.scatter.reach_mm,
        "weights": dict(made.scatter.weights),
        "notes": [
            {"name": note.name, "says": note.words(), "where": where, "left_mm": left}
            for note, where, left in zip(made.notes, made.where, made.left_mm.tolist(), strict=True)
        ],
    }
