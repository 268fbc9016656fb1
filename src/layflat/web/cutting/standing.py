"""Where a layout stands, as people read it."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from layflat.web.cutting.models import Layout, Section
from layflat.web.people.models import Shop
from layflat.web.stock.amounts import film_length
from layflat.web.work.models import State

LIVE: Final = frozenset({"waiting", "searching", "making"})
"""Standings that change by themselves."""
_WORDS: Final = {
    "waiting": ("waiting", "waits for a free worker"),
    "searching": ("waiting", "searching"),
    "over": ("today", "found, not kept yet"),
    "broke": ("late", "the search ended"),
    "making": ("waiting", "programs are being made"),
    "unmade": ("late", "no programs"),
    "kept": ("", "to be cut"),
    "begun": ("today", "being cut"),
    "cut": ("done", "cut"),
    "spoiled": ("late", "cut and spoiled"),
    "dropped": ("none", "not used"),
}


@dataclass(frozen=True, kw_only=True)
class LayoutStanding:
    """Where a layout stands.

    Attributes:
        name: one of waiting, searching, over, broke, making, unmade, kept, begun, cut, spoiled,
            dropped.
        shape, word: of its state.
        says: a sentence, or "".
        percent: how far a search or the making of programs is.
    """

    name: str
    says: str
    percent: int

    @property
    def shape(self) -> str:
        """The class that draws its state."""
        return _WORDS[self.name][0]

    @property
    def word(self) -> str:
        """Its state in words."""
        return _WORDS[self.name][1]

    @property
    def is_live(self) -> bool:
        """Whether it changes by itself."""
        return self.name in LIVE

    @property
    def is_kept(self) -> bool:
        """Whether it has sections."""
        return self.name in ("kept", "begun", "cut", "spoiled")


def standing_of(layout: Layout, sections: Iterable[Section] = ()) -> LayoutStanding:
    """Where *layout* stands, a kept one by the ticks on its *sections*.

    Sections that no job needs any more do not count.
    """
    made = layout.computation
    percent = int(100 * made.progress) if made is not None else 0
    return LayoutStanding(
        name=_name(layout, [one.state for one in sections if one.state != Section.State.LEFT]),
        says=_says(layout),
        percent=percent,
    )


def _name(layout: Layout, sections: list[str]) -> str:
    if layout.state == Layout.State.KEPT:
        return "kept" if all(state == Section.State.OPEN for state in sections) else "begun"
    if layout.state == Layout.State.CUT and sections and set(sections) == {Section.State.SPOILED}:
        return "spoiled"
    if layout.state != Layout.State.SEARCHING:
        return str(layout.state)
    state = layout.computation.state if layout.computation is not None else State.FAILED
    is_chosen = layout.found is not None
    if state in (State.FAILED, State.STOPPED):
        return "unmade" if is_chosen else "broke"
    if is_chosen:
        return "making"
    return {State.OPEN: "waiting", State.RUNNING: "searching"}.get(State(state), "over")


def _says(layout: Layout) -> str:
    made = layout.computation
    if layout.state != Layout.State.SEARCHING or made is None:
        return ""
    if made.state == State.STOPPED:
        return "Somebody stopped it."
    return str(made.error)


def figures_of(data: dict[str, Any] | None, shop: Shop) -> dict[str, str]:
    """Length, lower bound and yield of a stored layout in words; empty for none."""
    if data is None:
        return {}
    share = data["area_mm2"] / (data["length_mm"] * data["stock"]["width_mm"])
    return {
        "length": film_length(math.ceil(data["length_mm"]), shop),
        "bound": film_length(math.ceil(data["bound_mm"]), shop),
        "yield": f"{100 * share:.0f} %",
    }


def minutes_words(seconds: float) -> str:
    """An estimated time as people say it."""
    if seconds < 90:
        return f"{max(5, 5 * round(seconds / 5))} s"
    return f"{max(1, round(seconds / 60))} min"


def is_ticked(section: Section) -> bool:
    """Whether somebody said that a section is cut, or spoiled."""
    return section.state in (Section.State.CUT, Section.State.SPOILED)
