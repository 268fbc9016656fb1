"""Reliefs in words: what hides them, what they gain, what is left."""

from collections.abc import Sequence

import numpy as np

from layflat.base import FloatArray
from layflat.film import Flat
from layflat.fit.judged import PERCENTILE, Judged
from layflat.surface import Edge, EdgeKind

OPEN_SHARE = 0.25
"""A cut of which more than this part is seen lies on open paint."""

PAIR_TOO_MANY = (
    "The panel is symmetric: a further pair of reliefs would be one more than were allowed."
)
"""Why a symmetric panel gets one cut less than it might."""

_CREASED = 0.5
_SEEN = 0.5


OPEN_PAINT_SPARED = "Cuts on open paint are not proposed where"
"""How the word on such cuts begins."""


def visible_length_mm(steps: FloatArray, seen: FloatArray, creased: FloatArray) -> float:
    """The length of a path that is seen: more than half in sight, in no crease.

    Args:
        steps: (k - 1,) float64, lengths.
        seen, creased: (k,) float64, visibility and crease of its vertices.
    """
    shown = (seen > _SEEN) & (creased < _CREASED)
    return float(0.5 * (steps[shown[1:]].sum() + steps[shown[:-1]].sum()))


def hidden_by(kind: EdgeKind, length_mm: float, visible_mm: float, creased: FloatArray) -> str:
    """What hides a relief that starts at an edge of this *kind*: see `Relief.hidden_by`."""
    if visible_mm > OPEN_SHARE * length_mm:
        return "open paint"
    if float(np.mean(creased >= _CREASED)) > _CREASED:
        return "crease"
    return {EdgeKind.TRIM: "trim", EdgeKind.GAP: "gap"}.get(kind, "wrap")


def reasons_of(
    edge: Edge, hidden: str, length_mm: float, visible_mm: float, before: Judged, after: Judged
) -> tuple[str, ...]:
    """Why one relief is proposed, and what it gains."""
    named = f"“{edge.name}”" if edge.name else "without a name"
    shown = {
        "open paint": f"{visible_mm:.0f} mm of it lie on open paint",
        "crease": "it runs in a crease",
        "gap": "the gap hides it",
        "trim": "the trim hides it",
        "wrap": "it lies on the underside or the wrapped edge, out of sight",
    }[hidden]
    was, now = (100 * (judged.greatest_stretch - 1) for judged in (before, after))
    gains = (
        f"Film too much goes from {before.finger_excess_mm:.1f} to "
        f"{after.finger_excess_mm:.1f} mm, the greatest stretch from {was:.1f} to {now:.1f} %."
    )
    return (f"{length_mm:.0f} mm inward from the edge {named}; {shown}.", gains)


def left_over(
    judged: Judged, flat: Flat, found: int, *, kept: int, most: int, notes: Sequence[str]
) -> tuple[str, ...]:
    """What of the limits is left once no more reliefs are proposed, and why.

    Args:
        judged: the piece with all reliefs.
        flat: the same.
        found: how many are proposed.
        kept: how many were kept before.
        most: how many were allowed.
        notes: what the search has to say.
    """
    if judged.within_limits:
        if not found and not kept:
            return ("The piece keeps within the film's limits in one piece; no relief is needed.",)
        return ("With these reliefs the piece keeps within the film's limits.",)
    why = "a further cut would gain too little"
    if kept + found >= most or PAIR_TOO_MANY in notes:
        why = f"no more than {most} reliefs were allowed"
    elif any(note.startswith(OPEN_PAINT_SPARED) for note in notes):
        why = "no further cut that is hidden would gain enough"
    words = list(dict.fromkeys(notes))
    if judged.finger_zones:
        zones = "1 zone" if judged.finger_zones == 1 else f"{judged.finger_zones} zones"
        words.append(
            f"Fingers are left in {zones}, {judged.finger_excess_mm:.1f} mm too much film: {why}."
        )
    if judged.share_over_stretch_limit > 1.0 - PERCENTILE:
        words.append(
            f"{100 * judged.share_over_stretch_limit:.0f} % of the piece stay stretched beyond "
            f"{100 * flat.film.stretch_limit:g} %: {why}. Cuts give way where film is too much, "
            "not where it is missing; a seam would."
        )
    return tuple(words)
