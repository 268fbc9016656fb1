"""What the computation of a cover is asked to do: choices and stock, with all that nobody chose."""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from layflat.base import frozen
from layflat.cut import Machine, generic_machine
from layflat.job import Cover, FilmOrder, LayoutOrder
from layflat.nest import Stock
from layflat.web.cover.choices import RULES, Choices, PanelChoice

FINGER_AVERSION: Final = 2.0
"""Folds show at once, stretch within the film's limit does not: an assumption of this program."""
EDGE_MARGIN_MM: Final = 20.0
END_MARGIN_MM: Final = 5.0
GAP_MM: Final = 4.0
MAX_SECTION_MM: Final = 3000.0
"""Takes a van's bumper in one piece."""
TURNS_DEG: Final = (0.0, 90.0, 180.0, 270.0)
"""Clear gloss film may be turned; quarter turns keep its edges along the roll's."""
LAYOUT_S: Final = 8.0
"""How long the layout is searched for: a person waits for it, and more time gains little."""
SEED: Final = 1

DEFAULTS: Final[Mapping[str, Any]] = MappingProxyType(
    {
        "finger_aversion": FINGER_AVERSION,
        "stock.edge_margin_mm": EDGE_MARGIN_MM,
        "stock.end_margin_mm": END_MARGIN_MM,
        "stock.gap_mm": GAP_MM,
        "stock.max_section_mm": MAX_SECTION_MM,
        "stock.turns_deg": TURNS_DEG,
        "stock.seconds": LAYOUT_S,
        "stock.seed": SEED,
        "machine.max_section_mm": MAX_SECTION_MM,
        **{f"finish.{kind}": f"{end.finish} {end.distance_mm:g} mm" for kind, end in RULES.items()},
    }
)
"""What nobody chose, as the report says it."""


def usual_machine(*, roll_width_mm: float) -> Machine:
    """The plotter that covers are computed for: the generic one, which takes our sections."""
    generic = generic_machine()
    return replace(
        generic,
        max_section_mm=MAX_SECTION_MM,
        max_width_mm=max(generic.max_width_mm, roll_width_mm),
    )


def film_order(choices: Choices, *, roll_width_mm: float, seconds: float = LAYOUT_S) -> FilmOrder:
    """The order that *choices* are, on a roll of that width."""
    return FilmOrder(
        finger_aversion=FINGER_AVERSION,
        finishes=RULES,
        covers=tuple(_cover(choice) for choice in choices.on_surface),
        layout=LayoutOrder(
            stock=Stock(
                width_mm=roll_width_mm,
                edge_margin_mm=EDGE_MARGIN_MM,
                end_margin_mm=END_MARGIN_MM,
            ),
            lot="",
            gap_mm=GAP_MM,
            max_section_mm=MAX_SECTION_MM,
            turns_deg=TURNS_DEG,
            seconds=seconds,
            seed=SEED,
        ),
    )


def _cover(choice: PanelChoice) -> Cover:
    is_part = bool(choice.line_mm) and choice.keep_mm is not None
    return Cover(
        panel=choice.panel,
        line_mm=frozen(np.array(choice.line_mm)) if is_part else None,
        keep_mm=frozen(np.array(choice.keep_mm)) if is_part else None,
        finishes=dict(choice.edges),
        film_over=dict(choice.film_over),
        reliefs=tuple(frozen(np.array(path)) for path in choice.reliefs),
        seams=tuple(frozen(np.array(path)) for path in choice.seams),
    )
