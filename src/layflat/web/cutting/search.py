"""The search for a layout, watched: what is best so far stands in the layout's row."""

import time
from collections.abc import Mapping
from typing import Any, Final

from layflat.base import LayflatError, Progress
from layflat.nest import Layout as Laid
from layflat.nest import Request, place
from layflat.pattern import Pattern
from layflat.web.cutting.models import Layout
from layflat.web.cutting.patterns import read_patterns, titled, told_apart
from layflat.web.cutting.shapes import kept_shapes
from layflat.web.cutting.stored import layout_json, layout_of, stock_of
from layflat.web.cutting.turns import Turns, shows_direction, turns_json, turns_of

TASK: Final = "cutting.lay"
WRITE_S: Final = 0.5
"""The least time between two writes: a person watches, a database has more to do."""


def search(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Lay pieces out on a roll, each better layout written to the layout's row as it is found.

    Args:
        inputs: `layout`, the row's key; `pieces`, pattern files by number; `stock`, see
            `layflat.web.cutting.stored.stock_json`; `gap_mm`,
            `max_section_mm`, `seconds`, `seed`; `turns_deg`, how the pieces may be turned; `lay`,
            turns in laying by number: what is laid first is cut first, as far as whole sections
            can. Where the search goes on from what somebody arranged by hand, `hand`, that layout
            as it is stored, which says how each piece may be turned, and `pinned`, the numbers of
            its pieces that stay where they are.
        progress: told the length and yield beside the lower bound.

    Returns:
        `length_mm` of the best.

    Raises:
        LayflatError: pieces do not fit, or the roll is too short; what was found stands in the row
            all the same.
    """
    read = read_patterns(inputs["pieces"])
    shapes = kept_shapes(read)
    patterns = told_apart(read)
    Layout.objects.filter(pk=inputs["layout"]).update(shapes=shapes)
    numbers = {pattern.name: number for number, pattern in patterns.items()}
    turns, lay = _turns(inputs, patterns), inputs.get("lay", {})
    # A search that goes on from this layout by hand follows the same order of cutting. What was
    # arranged by hand, or lies on film that shows its direction, says for good how it is turned.
    is_told = "hand" in inputs or shows_direction(turns)
    told_on = {"lay": lay} | ({"turns_deg": turns_json(turns)} if is_told else {})
    board = _Board(inputs["layout"], numbers, told_on)

    def told(step: str, fraction: float) -> None:
        board.write_when_due()
        progress(step, fraction)

    try:
        layout = place(
            [
                Request(pattern=pattern, turns_deg=turns[number], lay=lay.get(str(number)))
                for number, pattern in patterns.items()
            ],
            stock_of(inputs["stock"]),
            gap_mm=inputs["gap_mm"],
            seconds=inputs["seconds"],
            seed=inputs["seed"],
            max_section_mm=inputs["max_section_mm"],
            progress=told,
            watch=board.show,
            **_by_hand(inputs, patterns),
        )
    except LayflatError as error:
        board.write()
        raise type(error)(titled(str(error), read)) from error
    board.show(layout, is_last=True)
    board.write()
    return {"length_mm": layout.length_mm}


def _turns(inputs: Mapping[str, Any], patterns: Mapping[int, Pattern]) -> Turns:
    if "hand" in inputs:
        return turns_of(inputs["hand"])
    return dict.fromkeys(patterns, tuple(inputs["turns_deg"]))


def _by_hand(inputs: Mapping[str, Any], patterns: Mapping[int, Pattern]) -> dict[str, Any]:
    """What `place` is told of an arrangement that the search goes on from; nothing without one."""
    if "hand" not in inputs:
        return {}
    hand = layout_of(inputs["hand"], patterns)
    pinned = [item for item in hand.placements if item.number in inputs["pinned"]]
    return {"known": [hand], "pinned": pinned}


class _Board:
    """What people see of a search: the best layout in its row, written now and then."""

    def __init__(self, pk: int, numbers: Mapping[str, int], told_on: Mapping[str, Any]) -> None:
        self._pk, self._numbers, self._told_on = pk, numbers, dict(told_on)
        row = Layout.objects.values("so_far").get(pk=pk)
        # A search that broke off may have found a better one than this finds at first.
        self._best_mm = row["so_far"]["length_mm"] if row["so_far"] else float("inf")
        self._waiting: Laid | None = None
        self._written_at = 0.0

    def show(self, layout: Laid, *, is_last: bool = False) -> None:
        """Have a layout written, if it is better; the last one also for its notes."""
        if layout.length_mm < self._best_mm or (is_last and layout.length_mm <= self._best_mm):
            self._best_mm, self._waiting = layout.length_mm, layout
            self.write_when_due()

    def write_when_due(self) -> None:
        if time.monotonic() - self._written_at >= WRITE_S:
            self.write()

    def write(self) -> None:
        """Write what waits; nothing once somebody keeps a layout or drops it."""
        if self._waiting is None:
            return
        so_far = layout_json(self._waiting, self._numbers) | self._told_on
        rows = Layout.objects.filter(pk=self._pk, state=Layout.State.SEARCHING, found__isnull=True)
        rows.update(so_far=so_far)
        self._waiting, self._written_at = None, time.monotonic()
