"""Where a roll's film went: all that came is in pieces, kept, wasted, spoiled, or still there."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from layflat.web.cutting.along import sections_of
from layflat.web.cutting.models import Section
from layflat.web.cutting.standing import is_ticked
from layflat.web.cutting.ticking import good_prefix_of
from layflat.web.stock.beside import kept_mm2
from layflat.web.stock.models import Movement, Roll

_Kind = Movement.Kind


@dataclass(frozen=True, kw_only=True)
class Account:
    """Film of a roll, in mm of its whole width.

    Attributes:
        in_mm: what came, set right by what was measured since.
        pieces_mm: in pieces, cut-outs not counted.
        offcuts_mm: kept as offcuts.
        waste_mm: beside pieces and offcuts, and offcuts that were thrown away with it.
        spoiled_mm, thrown_mm: spoiled, thrown away off the roll.
        left_mm: what is left.
    """

    in_mm: float
    pieces_mm: float
    offcuts_mm: float
    waste_mm: float
    spoiled_mm: float
    thrown_mm: float
    left_mm: float


@dataclass(frozen=True)
class _Moved:
    """What came of a roll, what was taken of it by kind, and by what booked it; in mm."""

    came_mm: int
    taken: Mapping[str, int]
    by_source: Mapping[str, int]


def account_of(roll: Roll, sections: Iterable[Section] | None = None) -> Account | None:
    """Where the film of a roll went; None while nothing is cut, or pieces were never measured.

    Two queries, and one where the roll's *sections* are not read already.
    """
    cut = _cut(sections_of(roll) if sections is None else sections)
    if not cut or any(section.pieces_mm2 is None for section in cut):
        return None
    moved = _moved(roll)
    taken = moved.taken
    kept_mm = kept_mm2(roll) / roll.width_mm
    pieces_mm = _pieces_mm2(cut, moved) / roll.width_mm
    waste_mm = taken[_Kind.CUT] + taken[_Kind.OFFCUT] - pieces_mm - kept_mm
    # A rest that is larger than all waste was kept of film that was spoiled.
    of_spoiled_mm = min(max(0.0, -waste_mm), taken[_Kind.SPOILED])
    return Account(
        in_mm=moved.came_mm,
        pieces_mm=pieces_mm,
        offcuts_mm=kept_mm,
        waste_mm=waste_mm + of_spoiled_mm,
        spoiled_mm=taken[_Kind.SPOILED] - of_spoiled_mm,
        thrown_mm=taken[_Kind.DISCARDED],
        left_mm=roll.left_mm,
    )


def pieces_of_mm2(roll: Roll) -> float:
    """The area of what is in pieces of a roll, in mm², of those that were ever measured."""
    cut = _cut(sections_of(roll))
    return _pieces_mm2(cut, _moved(roll)) if cut else 0.0


def _cut(sections: Iterable[Section]) -> list[Section]:
    return [section for section in sections if is_ticked(section)]


def _moved(roll: Roll) -> _Moved:
    taken = dict.fromkeys(_Kind.values, 0)
    came_mm = 0
    by_source: Counter[str] = Counter()
    fields = ("kind", "gives_back__kind", "delta_mm", "source", "gives_back__source")
    for kind, given, delta_mm, source, given_source in roll.movements.values_list(*fields):
        # What a correction gives back was never taken.
        kind = given or kind
        if kind in (_Kind.RECEIVED, _Kind.CORRECTED) or (kind == _Kind.OFFCUT and delta_mm > 0):
            came_mm += delta_mm
        else:
            taken[kind] -= delta_mm
            by_source[given_source or source] -= delta_mm
    return _Moved(came_mm, taken, by_source)


def _pieces_mm2(cut: Iterable[Section], moved: _Moved) -> float:
    pieces_mm2 = 0.0
    for section in cut:
        # Of a spoiled one, whole pieces were booked with their share of its waste.
        is_cut = section.state == Section.State.CUT
        good = 1.0 if is_cut else _good_mm(section, moved.by_source) / section.film_mm
        pieces_mm2 += good * (section.pieces_mm2 or 0.0)
    return pieces_mm2


def _good_mm(section: Section, by_source: Mapping[str, float]) -> float:
    """What the whole pieces of a spoiled section took, of all its jobs."""
    prefix = good_prefix_of(section)
    return sum(
        film_mm
        for source, film_mm in by_source.items()
        # Section 1 is not section 12.
        if source == prefix or source.startswith(f"{prefix},")
    )
