"""The sheet beside the body: every panel with what is chosen for it, ready for its forms."""

from dataclasses import dataclass
from typing import Any

from layflat.base import InputError
from layflat.pattern import Finish
from layflat.surface import EdgeKind
from layflat.web.cover.choices import MAY_WRAP, Choices, PanelChoice
from layflat.web.cover.choosing import (
    edge_seen,
    extent_seen,
    finish_of,
    keep_out_seen,
    panel_seen,
)
from layflat.web.cover.models import Cover
from layflat.web.cover.panels import BodyPanels, EdgeFacts, PanelFacts, panels_on, surfaces_of
from layflat.web.cover.shown import part_of_panel
from layflat.web.cover.straight import Way, ways
from layflat.web.cover.words import choice_in_words
from layflat.web.people.models import Shop
from layflat.web.people.shop import INCH_MM, fine_number


@dataclass(frozen=True)
class EdgeRow:
    """An edge and how film ends at it; `seen` is what its form carries.

    Attributes:
        ends: the ways that film may end, as (value, word, whether it is so).
        distance: as the shop writes it; "" where film ends at the edge itself.
    """

    facts: EdgeFacts
    key: str
    seen: str
    ends: tuple[tuple[str, str, bool], ...]
    distance: str

    @property
    def words(self) -> str:
        """How film ends there, in a word."""
        return next(word for _, word, is_so in self.ends if is_so)

    @property
    def is_wrapped(self) -> bool:
        """Whether film is wrapped round it."""
        return any(value == Finish.WRAP and is_so for value, _, is_so in self.ends)


@dataclass(frozen=True)
class KeepOutRow:
    """A keep-out: `reason` is "" where it stays free; `seen` is what its form carries."""

    facts: Any
    key: str
    seen: str
    reason: str


@dataclass(frozen=True)
class PanelRow:
    """A panel: `choice` is None where it is bare; `seen` and `all_seen` are what forms carry.

    `share` is how much of it lies under film; None where it is bare or its line parts it no more.
    """

    facts: PanelFacts
    choice: PanelChoice | None
    words: str
    seen: str
    all_seen: str
    is_open: bool
    edges: tuple[EdgeRow, ...] = ()
    keep_outs: tuple[KeepOutRow, ...] = ()
    ways: tuple[Way, ...] = ()
    share: float | None = None

    @property
    def wrappable(self) -> list[EdgeRow]:
        """The edges that film can be wrapped round."""
        return [edge for edge in self.edges if edge.facts.kind in MAY_WRAP]

    @property
    def others(self) -> list[EdgeRow]:
        """The edges that it cannot."""
        return [edge for edge in self.edges if edge.facts.kind not in MAY_WRAP]

    @property
    def others_differ(self) -> bool:
        """Whether one of those ends otherwise than the rules say."""
        chosen = self.choice.edges if self.choice else {}
        return any(edge.facts.name in chosen for edge in self.others)

    @property
    def can_wrap_more(self) -> bool:
        """Whether a free edge is not wrapped."""
        return any(
            edge.facts.kind is EdgeKind.OPEN and edge.facts.name and not edge.is_wrapped
            for edge in self.edges
        )


def rows_of(cover: Cover, choices: Choices, *, open_panel: str, shop: Shop) -> list[PanelRow]:
    """Every panel of the cover's body; the open one with its edges and keep-outs.

    Raises:
        InputError: the body is not prepared, or its files are gone.
    """
    body = panels_on(cover.body)
    return [
        _row(cover, body, panel, choices, is_open=panel.name == open_panel, shop=shop)
        for panel in body.panels.values()
    ]


def _row(
    cover: Cover,
    body: BodyPanels,
    panel: PanelFacts,
    choices: Choices,
    *,
    is_open: bool,
    shop: Shop,
) -> PanelRow:
    choice = choices.of(panel.name)
    row: dict[str, Any] = {
        "facts": panel,
        "choice": choice,
        "words": choice_in_words(choice, panel) if choice else "bare",
        "seen": extent_seen(choices, panel.name),
        "all_seen": panel_seen(choices, panel.name),
        "is_open": is_open,
    }
    if not is_open or not panel.mesh:
        return PanelRow(**row)
    row["ways"] = ways(surfaces_of(cover.body)[panel.mesh], body)
    if choice and choice.kept is None:
        row["share"] = _share(cover, choice)
        row["edges"] = tuple(
            _edge_row(choices, choice, panel, edge, i, shop) for i, edge in enumerate(panel.edges)
        )
        row["keep_outs"] = tuple(
            KeepOutRow(
                item,
                f"keep-out-{i}",
                keep_out_seen(choices, panel.name, item.name),
                choice.film_over.get(item.name, ""),
            )
            for i, item in enumerate(panel.keep_outs)
        )
    return PanelRow(**row)


def _share(cover: Cover, choice: PanelChoice) -> float | None:
    if choice.is_whole:
        return 1.0
    try:
        return part_of_panel(cover.body, choice).share
    except InputError:
        return None


def _edge_row(
    choices: Choices, choice: PanelChoice, panel: PanelFacts, edge: EdgeFacts, i: int, shop: Shop
) -> EdgeRow:
    finish = finish_of(choice, edge)
    possible = {Finish.SHORT: "ends short"}
    if edge.kind is EdgeKind.INNER:
        possible = {Finish.FLUSH: "ends at it", **possible}
    if edge.kind in MAY_WRAP:
        possible[Finish.WRAP] = "wrapped"
    return EdgeRow(
        edge,
        f"edge-{i}",
        edge_seen(choices, panel.name, edge.name),
        tuple((value.value, word, value is finish.finish) for value, word in possible.items()),
        "" if finish.finish is Finish.FLUSH else fine_number(finish.distance_mm, shop),
    )


def read_length(text: str, shop: Shop) -> float:
    """A length that a person wrote in the shop's unit, in mm.

    Raises:
        InputError: it is no number.
    """
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        unit = "inches" if shop.inches else "millimetres"
        raise InputError(f"Write the distance as a number of {unit}.") from None
    return value * INCH_MM if shop.inches else value


def shown_on_body(cover: Cover, choices: Choices) -> dict[str, Any]:
    """What the viewer draws of the choices.

    Returns:
        `whole`, names of panels; `parts`, panels with the short word of their line; `over`, the
        keep-outs under film as [panel, keep-out]; `seen`, the short word for every panel.
    """
    known = panels_on(cover.body).panels
    return {
        "whole": [
            choice.panel
            for choice in choices.panels
            if choice.is_whole and (choice.kept is None or choice.panel in known)
        ],
        "parts": [
            {"panel": choice.panel, "of": extent_seen(choices, choice.panel)}
            for choice in choices.panels
            if not choice.is_whole
        ],
        "over": [[choice.panel, name] for choice in choices.panels for name in choice.film_over],
        "seen": {name: extent_seen(choices, name) for name in known},
    }
