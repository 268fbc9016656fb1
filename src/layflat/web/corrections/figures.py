"""What a correction changes, in figures for its page."""

from collections.abc import Sequence
from typing import Any

from layflat.revise import Revision, noted_stretch


def figures_of(made: Revision, factor: int, *, earlier: Sequence[Revision] = ()) -> dict[str, Any]:
    """What a correction changes, as its page says it; lengths in mm.

    Args:
        made: the revision.
        factor: how many times as large its picture draws moves.
        earlier: the revisions that its notes rest on, for the scatter of the stretch.

    Returns:
        `number`; `largest_mm`, `largest_where`, `rms_mm` of the moves; `drawn`, the factor;
        `cars`, `laid_mm` how much cars were laid otherwise, `reach_mm`, and `weights` by car;
        `stretch`, what the notes say of stretch, as `mean`, `greatest`, `scatter` and `words`;
        `notes`, for each its name, place in words and what it still asks for.
    """
    stretch = noted_stretch(made, earlier=earlier)
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
        "stretch": {
            "mean": stretch.mean,
            "greatest": stretch.greatest,
            "scatter": stretch.scatter,
            "words": stretch.words(),
        },
        "notes": [
            {"name": note.name, "says": note.words(), "where": where, "left_mm": left}
            for note, where, left in zip(made.notes, made.where, made.left_mm.tolist(), strict=True)
        ],
    }
