"""What parts above this one add to a roll's page, to that of all rolls, and know of its film.

This part knows nothing of them; each enters what is its own when it starts (`AppConfig.ready`).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from layflat.web.stock.models import Roll


@dataclass(frozen=True, kw_only=True)
class Addition:
    """A sheet on a roll's page.

    Attributes:
        template: of the sheet, given `roll` and all that `read` found.
        read: finds what it shows, by its names there.
    """

    template: str
    read: Callable[[Roll], dict[str, Any]]


_additions: dict[Addition, None] = {}


def add(addition: Addition) -> None:
    """Show a sheet on every roll's page; entered again it is held once."""
    _additions.setdefault(addition)


def added_to(roll: Roll) -> tuple[list[str], dict[str, Any]]:
    """The templates of other parts for a roll, and all that they show."""
    context: dict[str, Any] = {}
    for addition in _additions:
        context |= addition.read(roll)
    return [addition.template for addition in _additions], context


@dataclass(frozen=True, kw_only=True)
class ListAddition:
    """A sheet on the page of all rolls.

    Attributes:
        template: of the sheet, given all that `read` found; it may have the id "list-alert".
        read: finds what it shows, by its names there; `list_alert` is what stands above the rolls
            and leads down to it, or "".
    """

    template: str
    read: Callable[[], dict[str, Any]]


_on_list: dict[ListAddition, None] = {}


def add_to_list(addition: ListAddition) -> None:
    """Show a sheet on the page of all rolls; entered again it is held once."""
    _on_list.setdefault(addition)


def added_to_list() -> tuple[list[str], dict[str, Any]]:
    """The templates of other parts for the page of all rolls, and all that they show."""
    context: dict[str, Any] = {}
    for addition in _on_list:
        context |= addition.read()
    return [addition.template for addition in _on_list], context


_measures: Final[dict[Callable[[Roll], float], None]] = {}


def measure_pieces(measure: Callable[[Roll], float]) -> None:
    """Have it say how much of a roll is in pieces that were cut, in mm²; entered again held once.

    Cut-outs are not counted.
    """
    _measures.setdefault(measure)


def pieces_mm2(roll: Roll) -> float:
    """The area of all pieces that were cut of a roll, in mm²."""
    return sum(measure(roll) for measure in _measures)
