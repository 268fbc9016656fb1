"""Sheets that do not go with the others: not flat, moved, or printed in another size."""

from collections.abc import Sequence

import numpy as np

from layflat.photo.ground import Ground
from layflat.photo.records import PhotoError
from layflat.photo.refuse import LEAST_SHEETS, require_enough
from layflat.photo.solve import solve
from layflat.photo.solved import Sighting, Solved

_LEAST_KEPT = 0.6
"""A sheet of which fewer corners go with the others is not trusted."""
_OTHER_SIZE = 0.004
_SUSPECT_PX = 0.12
_SUSPECT = 3.0
"""Where corners lie off by more than this many of their standard deviations, and by more than
`_SUSPECT_PX`, each sheet is tried to be left out."""
_BETTER = 0.4
"""A sheet is left out if what is left falls below this part without it."""


def without_bad_sheets(
    sightings: Sequence[Sighting], *, aspect: tuple[float, float] | None
) -> tuple[Solved, tuple[str, ...]]:
    """The common solution without sheets that do not go with the others, and what is said of them.

    Raises:
        PhotoError: too few sheets are shown or left, or no solution is found.
    """
    require_enough({int(number) for sighting in sightings for number in sighting.sheet})
    solved = solve(sightings, aspect=aspect)
    notes: list[str] = []
    while len(solved.sheets) > LEAST_SHEETS and _suspect(sightings, solved):
        worst = _worst(sightings, solved, aspect)
        if worst is None:
            break
        number, better = worst
        notes.append(_why(sightings, better, number))
        sightings = _without(sightings, number)
        solved = better
    return solved, tuple(notes)


def _suspect(sightings: Sequence[Sighting], solved: Solved) -> bool:
    """Whether corners lie further off than they should, or many of a sheet were strays."""
    left = solved.reprojection_px()
    if left > _SUSPECT_PX and solved.variance > _SUSPECT**2:
        return True
    return any(_kept(sightings, solved, number) < _LEAST_KEPT for number in solved.sheets)


def _kept(sightings: Sequence[Sighting], solved: Solved, number: int) -> float:
    """The part of a sheet's corners that the solution uses."""
    shown = sum(int(np.sum(each.sheet == number)) for each in sightings)
    used = sum(int(np.sum(each.sheet == number)) for each in solved.sightings)
    return used / max(shown, 1)


def _worst(
    sightings: Sequence[Sighting], solved: Solved, aspect: tuple[float, float] | None
) -> tuple[int, Solved] | None:
    """The sheet without which the others go together, with that solution; None if there is none.

    A sheet most of whose corners are strays goes first. Else each is tried to be left out; what
    counts is the mean over all corners that are shown, strays at the distance from which they are
    left out, so that nothing is won by calling corners strays.
    """
    fewest = min(solved.sheets, key=lambda number: _kept(sightings, solved, number))
    if _kept(sightings, solved, fewest) < _LEAST_KEPT:
        return fewest, solve(_without(sightings, fewest), aspect=aspect)
    found: list[tuple[float, int, Solved]] = []
    for number in solved.sheets:
        rest = _without(sightings, number)
        if min(len(np.unique(each.sheet)) for each in rest) < 2:
            continue  # a picture would be left with too little
        try:
            tried = solve(rest, aspect=aspect, focal_px=solved.lenses[0].focal_px)
        except PhotoError:
            continue
        found.append((_left(rest, tried), number, tried))
    if not found:
        return None
    best = min(found, key=lambda each: each[0])
    return (best[1], best[2]) if best[0] < _BETTER * _left(sightings, solved) else None


def _left(sightings: Sequence[Sighting], solved: Solved) -> float:
    shown = sum(len(each.pixels) for each in sightings)
    used = sum(len(each.pixels) for each in solved.sightings)
    stray = 5.0 * max(solved.reprojection_px(), 0.1)
    square = used * solved.reprojection_px() ** 2 + (shown - used) * stray**2
    return float(np.sqrt(square / max(shown, 1)))


def _without(sightings: Sequence[Sighting], number: int) -> list[Sighting]:
    return [sighting.kept(sighting.sheet != number) for sighting in sightings]


def _why(sightings: Sequence[Sighting], solved: Solved, number: int) -> str:
    """Why a sheet was left out."""
    size = _size(sightings, solved, number)
    if abs(size - 1.0) > _OTHER_SIZE:
        return (
            f"Sheet {number} was printed at {100 * size:.1f} % of the others' size and was left "
            "out; print it again with the same settings."
        )
    if len(sightings) > 1:
        return (
            f"Sheet {number} was moved between the pictures, or does not lie flat, and was left "
            "out; tape it down before the next pictures."
        )
    return f"Sheet {number} does not lie flat and was left out; tape it down."


def _size(sightings: Sequence[Sighting], solved: Solved, number: int) -> float:
    """The size of a sheet against the others', from the picture that shows most of it."""
    picture = int(np.argmax([np.sum(each.sheet == number) for each in sightings]))
    sighting = sightings[picture]
    mine = sighting.sheet == number
    ground = Ground(
        solved=solved, scale=1.0, turn_rad=0.0, shift_mm=np.zeros(2), hull_mm=np.zeros((0, 2))
    )
    seen = ground.from_picture(picture, sighting.pixels[mine])
    a = sighting.board_mm[mine] - sighting.board_mm[mine].mean(axis=0)
    sizes = np.linalg.svd(a.T @ (seen - seen.mean(axis=0)), compute_uv=False)
    return float(sizes.sum() / np.sum(a**2))
