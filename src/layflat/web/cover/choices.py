"""What a person chose to cover: panels, lines, edges, keep-outs; as values and as JSON.

The JSON of choices is kept in the database and is an input of computations; it reads::

    {"panels": [
        {"panel": "hood",
         "line_mm": [[x, y, z], …], "keep_mm": [x, y, z],
         "edges": {"front": {"finish": "wrap", "distance_mm": 8.0}},
         "film_over": {"emblem": "The customer has no radar behind it."},
         "reliefs": [[[x, y, z], …], …], "refused_reliefs": [[[x, y, z], …], …],
         "seams": [[[x, y, z], …], …], "refused_seams": [[[x, y, z], …], …]},
        {"panel": "mirror-cap", "kept": {"revision": 3, "pattern": "9f86…"}}]}

Panels stand in the order of their names, so that equal choices are equal text. `line_mm` and
`keep_mm` are left out for a whole panel, `edges` and `film_over` where nothing differs from the
rules, `reliefs`, `seams` and the refused ones where there are none. `kept` stands alone: the piece
is a kept pattern as it was then, by its revision's number and its file's SHA-256.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Final

from layflat.base import InputError
from layflat.pattern import EdgeFinish, Finish
from layflat.surface import EdgeKind
from layflat.web.people.shop import INCH_MM

Point = tuple[float, float, float]

MOST_PANELS: Final = 200
MOST_POINTS: Final = 200
MOST_NAMES: Final = 100
MOST_REASON: Final = 200
MOST_RELIEFS: Final = 24
MOST_SEAMS: Final = 4
FAR_MM: Final = 30_000.0
_HUGE = 1e9
LEAST_MM, MOST_MM = 0.1, 60.0
"""How far film may end from an edge, short of it or wrapped round it."""

RULES: Final[Mapping[EdgeKind, EdgeFinish]] = MappingProxyType(
    {
        EdgeKind.OPEN: EdgeFinish(Finish.SHORT, 1.5),
        EdgeKind.GAP: EdgeFinish(Finish.SHORT, 1.5),
        EdgeKind.TRIM: EdgeFinish(Finish.SHORT, 1.5),
        EdgeKind.INNER: EdgeFinish(Finish.FLUSH),
    }
)
"""How film ends at an edge of each kind where nobody says otherwise: common practice, no source."""
WRAP_MM: Final = 8.0
"""How far film is wrapped round an edge where nobody says otherwise: common practice, no source."""
_PATHS: Final = MappingProxyType(
    {
        "reliefs": MOST_RELIEFS,
        "refused_reliefs": MOST_RELIEFS,
        "seams": MOST_SEAMS,
        "refused_seams": MOST_RELIEFS,
    }
)
"""Keys that hold paths, and how many each may hold."""
_SHA256: Final = re.compile(r"[0-9a-f]{64}")
_MOST_REVISIONS: Final = 1_000_000
MAY_WRAP: Final = frozenset({EdgeKind.OPEN, EdgeKind.GAP})
"""Kinds of edge that film can be wrapped round."""


@dataclass(frozen=True)
class KeptChoice:
    """A kept pattern as it was chosen.

    Attributes:
        revision: its number within the kept pattern.
        pattern: the SHA-256 of its file.
    """

    revision: int
    pattern: str


@dataclass(frozen=True, kw_only=True)
class PanelChoice:
    """One covered panel.

    Attributes:
        panel: its name on the body.
        line_mm: points on the surface of the line that film ends at, in order; () for all of it.
        keep_mm: a point on the side of the line that is covered; None for all of it.
        edges: edges, by name, that end otherwise than `RULES` say.
        film_over: keep-outs, by name, that are covered all the same, with the reason.
        reliefs: paths on the surface of cuts from an edge inward, in order.
        refused_reliefs: paths of cuts that were proposed and refused; none is proposed near them.
        seams: paths on the surface along which it is covered by several pieces, in order.
        refused_seams: paths of seams that were proposed and refused.
        kept: the kept pattern that its piece is; None where the piece is made from the surface. All
            else is empty then: edges and keep-outs are the pattern's own.
    """

    panel: str
    line_mm: tuple[Point, ...] = ()
    keep_mm: Point | None = None
    edges: Mapping[str, EdgeFinish] = field(default_factory=dict)
    film_over: Mapping[str, str] = field(default_factory=dict)
    reliefs: tuple[tuple[Point, ...], ...] = ()
    refused_reliefs: tuple[tuple[Point, ...], ...] = ()
    seams: tuple[tuple[Point, ...], ...] = ()
    refused_seams: tuple[tuple[Point, ...], ...] = ()
    kept: KeptChoice | None = None

    @property
    def is_whole(self) -> bool:
        """Whether film covers all of the panel."""
        return not self.line_mm


@dataclass(frozen=True)
class Choices:
    """The covered panels of one cover, by name."""

    panels: tuple[PanelChoice, ...] = ()

    def __post_init__(self) -> None:
        ordered = tuple(sorted(self.panels, key=lambda choice: choice.panel))
        names = [choice.panel for choice in ordered]
        if len(set(names)) < len(names):
            raise InputError("A panel is covered twice.")
        object.__setattr__(self, "panels", ordered)

    @property
    def on_surface(self) -> tuple[PanelChoice, ...]:
        """Those whose pieces are made from the body's surface."""
        return tuple(choice for choice in self.panels if choice.kept is None)

    def of(self, panel: str) -> PanelChoice | None:
        """The choice for a panel, or None where it stays bare."""
        return next((choice for choice in self.panels if choice.panel == panel), None)

    def with_panel(self, choice: PanelChoice) -> "Choices":
        """These choices with *choice* in the place of what was chosen for its panel."""
        return Choices((*self.without(choice.panel).panels, choice))

    def without(self, panel: str) -> "Choices":
        """These choices with a panel left bare."""
        return Choices(tuple(choice for choice in self.panels if choice.panel != panel))


def to_json(choices: Choices) -> dict[str, Any]:
    """The JSON of *choices*."""
    return {"panels": [_panel_json(choice) for choice in choices.panels]}


def _panel_json(choice: PanelChoice) -> dict[str, Any]:
    found: dict[str, Any] = {"panel": choice.panel}
    if choice.kept is not None:
        found["kept"] = {"revision": choice.kept.revision, "pattern": choice.kept.pattern}
        return found
    if choice.line_mm and choice.keep_mm is not None:
        found["line_mm"] = [list(point) for point in choice.line_mm]
        found["keep_mm"] = list(choice.keep_mm)
    if choice.edges:
        found["edges"] = {
            name: {"finish": finish.finish.value, "distance_mm": finish.distance_mm}
            for name, finish in sorted(choice.edges.items())
        }
    if choice.film_over:
        found["film_over"] = dict(sorted(choice.film_over.items()))
    for key in _PATHS:
        if paths := getattr(choice, key):
            found[key] = [[list(point) for point in path] for path in paths]
    return found


def from_json(value: Any) -> Choices:
    """Choices from their JSON, which nobody needs to trust.

    Raises:
        InputError: it is not of this form, or beyond the bounds.
    """
    panels = _list(_dict(value, {"panels"}).get("panels", []), most=MOST_PANELS)
    return Choices(tuple(_panel(item) for item in panels))


def _panel(value: Any) -> PanelChoice:
    if isinstance(value, dict) and "kept" in value:
        found = _dict(value, {"panel", "kept"})
        return PanelChoice(panel=_text(found.get("panel"), most=80), kept=_kept(found["kept"]))
    found = _dict(value, {"panel", "line_mm", "keep_mm", "edges", "film_over", *_PATHS})
    line = tuple(point(item) for item in _list(found.get("line_mm", []), most=MOST_POINTS))
    keep = point(found["keep_mm"]) if "keep_mm" in found else None
    if len(line) == 1 or bool(line) != (keep is not None):
        raise InputError(
            "A line needs two points or more, and a point on the side that is covered."
        )
    paths: dict[str, Any] = {key: _paths(found, key, most=most) for key, most in _PATHS.items()}
    return PanelChoice(
        panel=_text(found.get("panel"), most=80),
        line_mm=line,
        keep_mm=keep,
        edges={_text(name, most=80): ending(item) for name, item in _items(found, "edges")},
        film_over={
            _text(name, most=80): _text(reason, most=MOST_REASON)
            for name, reason in _items(found, "film_over")
        },
        **paths,
    )


def _kept(value: Any) -> KeptChoice:
    found = _dict(value, {"revision", "pattern"})
    revision, pattern = found.get("revision"), found.get("pattern")
    is_number = type(revision) is int and 0 < revision < _MOST_REVISIONS
    if not is_number or not isinstance(pattern, str) or not _SHA256.fullmatch(pattern):
        raise InputError("What is covered cannot be read; open the page anew.")
    return KeptChoice(int(revision or 0), pattern)


def cut_path(value: Any) -> tuple[Point, ...]:
    """The path of a cut or a seam from its JSON.

    Raises:
        InputError: it is no list of two points or more, or beyond the bounds.
    """
    path = tuple(point(item) for item in _list(value, most=MOST_POINTS))
    if len(path) < 2:
        raise InputError("A cut needs two points or more, the first on an edge.")
    return path


def _paths(found: dict[str, Any], key: str, *, most: int) -> tuple[tuple[Point, ...], ...]:
    return tuple(cut_path(item) for item in _list(found.get(key, []), most=most))


def ending(value: Any) -> EdgeFinish:
    """How film ends at one edge, from its JSON.

    Raises:
        InputError: it is not of this form, or beyond the bounds.
    """
    found = _dict(value, {"finish", "distance_mm"})
    if found.get("finish") not in tuple(Finish):
        raise InputError("An edge ends flush, short or wrapped.")
    finish = Finish(found["finish"])
    if finish is Finish.FLUSH:
        return EdgeFinish(Finish.FLUSH)
    distance_mm = _number(found.get("distance_mm"))
    if not LEAST_MM <= distance_mm <= MOST_MM:
        raise InputError(
            f"Film ends {LEAST_MM:g} to {MOST_MM:g} mm ({LEAST_MM / INCH_MM:.2f} to "
            f"{MOST_MM / INCH_MM:.2f} in) from an edge or round it."
        )
    return EdgeFinish(finish, distance_mm)


def point(value: Any) -> Point:
    """A point on the body in millimetres, from its JSON.

    Raises:
        InputError: it is not of this form, or far from any vehicle.
    """
    if not isinstance(value, list | tuple) or len(value) != 3:
        raise InputError("A point has three coordinates.")
    x, y, z = (_number(item) for item in value)
    if max(abs(x), abs(y), abs(z)) > FAR_MM:
        raise InputError("A point lies far from the vehicle.")
    return (x, y, z)


def _dict(value: Any, known: set[str]) -> dict[str, Any]:
    if not isinstance(value, dict) or not set(value) <= known:
        raise InputError("What is covered cannot be read; open the page anew.")
    return value


def _list(value: Any, *, most: int) -> list[Any]:
    if not isinstance(value, list) or len(value) > most:
        raise InputError("What is covered cannot be read; open the page anew.")
    return value


def _items(found: dict[str, Any], key: str) -> list[tuple[Any, Any]]:
    table = found.get(key, {})
    if not isinstance(table, dict) or len(table) > MOST_NAMES:
        raise InputError("What is covered cannot be read; open the page anew.")
    return list(table.items())


def _text(value: Any, *, most: int) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > most:
        raise InputError(f"A name or a reason is missing, or longer than {most} letters.")
    return value


def _number(value: Any) -> float:
    # Compared before it is changed: JSON knows whole numbers that are no float any more.
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not -_HUGE < value < _HUGE:
        raise InputError("A number of the cover cannot be read; open the page anew.")
    return float(value)
