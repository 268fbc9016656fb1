"""Which offcuts take which pieces that need film: they are proposed before a roll is begun.

An offcut takes pieces whose boxes go beside each other on its sound film, with gaps and margins.
That is on the safe side: a search may get more onto it.
"""

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Final

from django.db.models import prefetch_related_objects

from layflat.web.cover.models import Piece
from layflat.web.cover.order import EDGE_MARGIN_MM, END_MARGIN_MM, GAP_MM, TURNS_DEG
from layflat.web.cutting.patterns import read_patterns
from layflat.web.cutting.rests import box_of
from layflat.web.stock.faults import faults_of, with_faults
from layflat.web.stock.models import Roll

Box = tuple[float, float]
_ACROSS_DEG: Final = frozenset((90.0, 270.0))
_MOST: Final = 12
"""More offcuts of a film than that are not looked at; the oldest come first."""


def taken_by(
    offcuts: Sequence[tuple[Roll, int]],
    pieces: Sequence[Piece],
    *,
    turns_deg: Sequence[float] = TURNS_DEG,
) -> dict[int, tuple[int, ...]]:
    """The numbers of the pieces that each offcut takes, by its key; none where it takes none.

    Args:
        offcuts: with what is free of each.
        pieces: that need film; one without a pattern goes on none.
        turns_deg: that they may take.
    """
    looked_at = list(offcuts[:_MOST])
    rolls = [roll for roll, _ in looked_at]
    if not rolls or not pieces:
        return {}
    prefetch_related_objects(rolls, with_faults())
    faults = faults_of(rolls)
    widest = max(free_mm * roll.width_mm for roll, free_mm in looked_at)
    # Of a piece that is larger than every offcut no file is read.
    boxes = {
        piece.number: _box(piece.pattern.sha256)
        for piece in pieces
        if piece.pattern is not None and piece.area_mm2 <= widest
    }
    found = {}
    for roll, free_mm in looked_at:
        sound_mm, at_mm = 0, 0
        for place in faults.get(roll.pk, []):
            sound_mm, at_mm = max(sound_mm, place.start_mm - at_mm), max(at_mm, place.end_mm)
        sound_mm = max(sound_mm, free_mm - at_mm)
        found[roll.pk] = side_by_side(
            boxes, float(sound_mm), float(roll.width_mm), turns_deg=turns_deg
        )
    return found


def side_by_side(
    boxes: Mapping[int, Box],
    length_mm: float,
    width_mm: float,
    *,
    turns_deg: Sequence[float] = TURNS_DEG,
) -> tuple[int, ...]:
    """Which boxes go beside each other, in rows across an offcut; the largest first.

    Rows one behind the other, each as long as its first box (next fit by falling size, common
    practice of packing, no source).

    Args:
        boxes: by number.
        length_mm, width_mm: of the offcut, margins included.
        turns_deg: quarter turns that the boxes may take.

    Returns:
        Their numbers, in order.
    """
    along_mm, across_mm = length_mm - 2 * END_MARGIN_MM, width_mm - 2 * EDGE_MARGIN_MM
    end_mm = row_mm = used_mm = 0.0
    taken = []
    for number, box in sorted(boxes.items(), key=lambda item: -item[1][0] * item[1][1]):
        ways = {box[::-1] if turn in _ACROSS_DEG else box for turn in turns_deg}
        beside = [way for way in ways if way[0] <= row_mm and used_mm + way[1] <= across_mm]
        behind = [way for way in ways if way[0] <= along_mm - end_mm and way[1] <= across_mm]
        if beside:
            used_mm += min(way[1] for way in beside) + GAP_MM
        elif behind:
            long_mm, wide_mm = min(behind)
            row_mm, used_mm, end_mm = long_mm, wide_mm + GAP_MM, end_mm + long_mm + GAP_MM
        else:
            continue
        taken.append(number)
    return tuple(sorted(taken))


@lru_cache(maxsize=5_000)
def _box(sha256: str) -> Box:
    """The box of a pattern; what is kept under a hash never changes."""
    return box_of(read_patterns({"1": sha256})[1])
