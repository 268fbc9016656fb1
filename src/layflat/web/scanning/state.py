"""How the work on a scan stands, as values and as JSON.

Points are in the scan's own coordinates, so that they stay where they are however it stands.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from layflat.base import InputError
from layflat.surface import Corrections, EdgeKind, KeepOutKind, Node, Outline

Point = tuple[float, float, float]
MOST_DRAFTS = 120
_FAR_MM = 60_000.0


@dataclass(frozen=True)
class Draft:
    """A panel, an opening in one or a keep-out while it is traced.

    Attributes:
        name: unique on the bench among panels, or among what lies on them.
        outline: its points.
        keep_out: why it stays free; None for a panel and an opening.
        on: the panel that an opening or a keep-out lies on; "" for a panel.
    """

    name: str
    outline: Outline = field(default_factory=Outline)
    keep_out: KeepOutKind | None = None
    on: str = ""

    @property
    def is_panel(self) -> bool:
        """Whether it lies on no other."""
        return not self.on

    @property
    def is_opening(self) -> bool:
        """Whether it is a hole in a panel, whose rim has edges."""
        return bool(self.on) and self.keep_out is None


@dataclass(frozen=True)
class State:
    """All that people did.

    Attributes:
        floor: three picked points, or none.
        pair: two picked points, left and right, or none.
        flip: the front is at the other end than was taken.
        within_mm: how far over the floor the scan is cut.
        drafts: the panels, openings and keep-outs.
    """

    floor: tuple[Point, ...] = ()
    pair: tuple[Point, ...] = ()
    flip: bool = False
    within_mm: float = 15.0
    drafts: tuple[Draft, ...] = ()

    @property
    def corrections(self) -> Corrections:
        """What people picked."""
        return Corrections(
            floor_mm=np.array(self.floor) if self.floor else None,
            pair_mm=np.array(self.pair) if self.pair else None,
            flip=self.flip,
        )

    def draft(self, number: int) -> Draft:
        """A draft by its number.

        Raises:
            InputError: there is none.
        """
        if not 0 <= number < len(self.drafts):
            raise InputError("That outline is no longer there; look at the page anew.")
        return self.drafts[number]

    def with_draft(self, number: int, draft: Draft) -> "State":
        """With one draft put in the place of another."""
        self.draft(number)
        return replace(self, drafts=(*self.drafts[:number], draft, *self.drafts[number + 1 :]))


def node_values(outline: Outline) -> list[dict[str, Any]]:
    """An outline's points as plain values."""
    return [
        {
            "at": list(node.at_mm),
            "straight": node.straight,
            "corner": node.corner,
            "kind": node.kind.value,
            "name": node.name,
        }
        for node in outline.nodes
    ]


def to_json(state: State) -> dict[str, Any]:
    """The state as JSON."""
    return {
        "floor": [list(point) for point in state.floor],
        "pair": [list(point) for point in state.pair],
        "flip": state.flip,
        "within_mm": state.within_mm,
        "drafts": [
            {
                "name": draft.name,
                "closed": draft.outline.closed,
                "keep_out": draft.keep_out.value if draft.keep_out else "",
                "on": draft.on,
                "nodes": node_values(draft.outline),
            }
            for draft in state.drafts
        ],
    }


def from_json(value: dict[str, Any] | None) -> State:
    """The state in JSON that `to_json` wrote; a new one for None."""
    if value is None:
        return State()
    return State(
        floor=tuple(_triple(point) for point in value["floor"]),
        pair=tuple(_triple(point) for point in value["pair"]),
        flip=value["flip"],
        within_mm=value["within_mm"],
        drafts=tuple(
            Draft(
                item["name"],
                Outline(
                    tuple(
                        Node(
                            _triple(node["at"]),
                            node["straight"],
                            node["corner"],
                            EdgeKind(node["kind"]),
                            node["name"],
                        )
                        for node in item["nodes"]
                    ),
                    item["closed"],
                ),
                KeepOutKind(item["keep_out"]) if item["keep_out"] else None,
                item["on"],
            )
            for item in value["drafts"]
        ),
    )


def _triple(values: Any) -> Point:
    x, y, z = values
    return float(x), float(y), float(z)


def read_points(value: Any, *, count: int) -> tuple[Point, ...]:
    """Points as a page sends them.

    Raises:
        InputError: they are not *count* points in space.
    """
    try:
        points = tuple(_triple(point) for point in value)
    except (TypeError, ValueError):
        points = ()
    if len(points) != count or not np.all(np.abs(np.array(points)) < _FAR_MM):
        raise InputError("A point that was picked cannot be read; pick it again.")
    return tuple(tuple(round(x, 3) for x in point) for point in points)  # type: ignore[misc]
