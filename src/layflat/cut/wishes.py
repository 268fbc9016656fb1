"""What a shop may wish of a cut program beyond the drawing, and which piece must precede which."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from layflat.base import SettingError
from layflat.cut.sheet import Sheet
from layflat.cut.waste_lines import CLEAR_MM

SMALL_MM2 = 10_000.0
"""A piece with a smaller outline is small."""

STRIPS_MM = (50.0, 5000.0)
"""How wide strips of waste between weed lines may be."""

TAB_MM = 1.0
"""How long a tab is, if nobody says; common practice, no source."""

MOST_TABS = 24
"""How many tabs a piece may have."""

TABS_MM = (0.2, 10.0)
"""How long a tab may be."""

HINGES_MM = (5.0, 300.0)
"""How long a hinge may be."""

_FOUR_TIMES = 4.0
_BESIDE_MM = 15.0
_CLEAR_MM = (0.5, 50.0)


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """What is wished of a cut program.

    Attributes:
        first: names of pieces that are to be cut first, in this order, as far as they lie in one
            section: those that are laid first. In a layout a piece is called “3 front bumper”, or
            “front bumper” for each of that name.
        strip_mm: how wide strips of waste may be; wider ones are divided by weed lines. None for
            no weed lines. 50 to 5000 mm.
        clear_mm: how far weed lines stay from film; 0.5 to 50 mm.
        tabs: how many short bridges hold each piece by its outline; 0 to 24.
        tab_mm: how long each is; 0.2 to 10 mm.
        hinge_mm: how long the one bridge is that holds each piece on one side, 5 to 300 mm; None
            for none. Not together with tabs.
    """

    first: tuple[str, ...] = ()
    strip_mm: float | None = None
    clear_mm: float = CLEAR_MM
    tabs: int = 0
    tab_mm: float = TAB_MM
    hinge_mm: float | None = None

    @property
    def bridges(self) -> bool:
        """Whether something of the outlines is to stay uncut."""
        return self.tabs > 0 or self.hinge_mm is not None

    def __post_init__(self) -> None:
        if self.strip_mm is not None and not STRIPS_MM[0] <= self.strip_mm <= STRIPS_MM[1]:
            raise SettingError(
                f"Strips of waste cannot be {self.strip_mm:g} mm wide; give {STRIPS_MM[0]:g} to "
                f"{STRIPS_MM[1]:g} mm."
            )
        if not _CLEAR_MM[0] <= self.clear_mm <= _CLEAR_MM[1]:
            raise SettingError(
                f"Weed lines cannot stay {self.clear_mm:g} mm from film; give {_CLEAR_MM[0]:g} to "
                f"{_CLEAR_MM[1]:g} mm."
            )
        _require_bridges(self)


def _require_bridges(wishes: Wishes) -> None:
    """Refuse tabs and hinges that hold nothing, or more than a hand tears."""
    if not 0 <= wishes.tabs <= MOST_TABS:
        raise SettingError(
            f"A piece cannot have {wishes.tabs} tabs; give 0 to {MOST_TABS}, 0 for none."
        )
    if not TABS_MM[0] <= wishes.tab_mm <= TABS_MM[1]:
        raise SettingError(
            f"Tabs cannot be {wishes.tab_mm:g} mm long; give {TABS_MM[0]:g} to {TABS_MM[1]:g} mm."
        )
    hinge = wishes.hinge_mm
    if hinge is None:
        return
    if not HINGES_MM[0] <= hinge <= HINGES_MM[1]:
        raise SettingError(
            f"A hinge cannot be {hinge:g} mm long; give {HINGES_MM[0]:g} to {HINGES_MM[1]:g} mm."
        )
    if wishes.tabs:
        raise SettingError("A piece is held by tabs or by a hinge; ask for one of them.")


NO_WISHES = Wishes()
"""Nothing beyond the drawing."""


def require_names(first: Sequence[str], sheets: Sequence[Sheet]) -> None:
    """Refuse names that no piece has.

    Raises:
        SettingError: it names them and those that there are.
    """
    known = {pattern.name for sheet in sheets for pattern in sheet.patterns}
    missing = [name for name in first if not any(_calls(name, one) for one in known)]
    if missing:
        raise SettingError(
            f"No piece is called “{missing[0]}”, so it cannot be cut first. There are: "
            f"{', '.join(sorted(known))}."
        )


def _calls(name: str, pattern_name: str) -> bool:
    """Whether *name* means a pattern, which in a layout has its number before its name."""
    number, _, bare = pattern_name.partition(" ")
    return name in (pattern_name, bare if number.isdecimal() else pattern_name)


def precedence(sheet: Sheet, first: Sequence[str]) -> list[tuple[int, int]]:
    """Pairs of a section's pieces, the first of each to be cut before the second; no circles.

    - A piece in an opening of another comes before that other, always: afterwards it would lie in
      loose film.
    - Named pieces come in the order of their names, before all others; a piece that lies in an
      opening of a named one comes with it.
    - Of the others a small piece (`SMALL_MM2`) comes before a neighbour at least four times as
      large, while film that is still whole holds it. Common practice, no source.
    """
    nested = [(inner, outer) for inner, outer, _ in sheet.inner_pieces]
    chain: list[int] = []

    def add(piece: int) -> None:
        for inner, outer in nested:
            if outer == piece and inner not in chain:
                add(inner)
        if piece not in chain:
            chain.append(piece)

    for name in first:
        for i, pattern in enumerate(sheet.patterns):
            if _calls(name, pattern.name):
                add(i)
    others = [i for i in range(len(sheet.patterns)) if i not in chain]
    pairs = list(dict.fromkeys(nested))
    pairs += itertools.pairwise(chain)
    pairs += [(chain[-1], other) for other in others] if chain else []
    return pairs + [pair for pair in _small_first(sheet, others) if pair not in pairs]


def _small_first(sheet: Sheet, pieces: Sequence[int]) -> list[tuple[int, int]]:
    """Small pieces with their much larger neighbours."""
    outlines = sheet.outlines
    tree = shapely.STRtree([outlines[i] for i in pieces])
    found = []
    for i in pieces:
        if outlines[i].area <= SMALL_MM2:
            beside = tree.query(outlines[i], predicate="dwithin", distance=_BESIDE_MM)
            great = [pieces[k] for k in sorted(beside.tolist())]
            enough = _FOUR_TIMES * outlines[i].area
            found += [(i, other) for other in great if outlines[other].area >= enough]
    return found
