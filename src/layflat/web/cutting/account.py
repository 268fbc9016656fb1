"""Where a roll's film went: all that came is in pieces, kept, wasted, spoiled, or still there."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from layflat.web.cutting.along import sections_of
from layflat.web.cutting.models import Offcut, Section
from layflat.web.cutting.ticking import good_prefix_of
from layflat.web.stock.models import Movement, Roll

_Kind = Movement.Kind


@dataclass(frozen=True, kw_only=True)
class Account:
    """Film of a roll, in mm of its whole width.

    Attributes:
        in_mm: what came, set right by what was measured since.
        pieces_mm: in pieces, cut-outs not counted.
        offcuts_mm: kept as offcuts.
        waste_mm: beside the pieces of cut sections, offcuts that were thrown away with it.
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


def account_of(roll: Roll, sections: Iterable[Section] | None = None) -> Account | None:
    """Where the film of a roll went; None while nothing is cut, or pieces were never measured.

    Two queries, and one where the roll's *sections* are not read already.
    """
    rows = sections_of(roll) if sections is None else sections
    cut = [section for section in rows if section.state != Section.State.OPEN]
    if not cut or any(section.pieces_mm2 is None for section in cut):
        return None
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
    pieces_mm2 = 0.0
    for section in cut:
        # Of a spoiled one, whole pieces were booked with their share of its waste.
        is_cut = section.state == Section.State.CUT
        good = 1.0 if is_cut else _good_mm(section, by_source) / section.film_mm
        pieces_mm2 += good * (section.pieces_mm2 or 0.0)
    kept = Offcut.objects.filter(section__layout__roll=roll, state=Offcut.State.KEPT)
    sizes = kept.values_list("length_mm", "width_mm")
    beside_mm = sum(long * wide for long, wide in sizes) / roll.width_mm
    pieces_mm = pieces_mm2 / roll.width_mm
    return Account(
        in_mm=came_mm,
        pieces_mm=pieces_mm,
        offcuts_mm=beside_mm + taken[_Kind.OFFCUT],
        waste_mm=taken[_Kind.CUT] - pieces_mm - beside_mm,
        spoiled_mm=taken[_Kind.SPOILED],
        thrown_mm=taken[_Kind.DISCARDED],
        left_mm=roll.left_mm,
    )


def _good_mm(section: Section, by_source: Mapping[str, float]) -> float:
    """What the whole pieces of a spoiled section took, of all its jobs."""
    prefix = good_prefix_of(section)
    return sum(
        film_mm
        for source, film_mm in by_source.items()
        # Section 1 is not section 12.
        if source == prefix or source.startswith(f"{prefix},")
    )
