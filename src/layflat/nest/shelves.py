"""The fallback: pieces as rectangles in stacks across the roll, without any search.

First fit by decreasing height (E. G. Coffman, M. R. Garey, D. S. Johnson and R. E. Tarjan,
Performance bounds for level-oriented two-dimensional packing algorithms, SIAM J. Comput. 9
(1980) 808-826; from memory), with the roll's direction as the height of the levels. It takes no
time, always ends with a layout, and no layout that is handed out is longer.
"""

from collections.abc import Callable, Sequence

from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part

Box = tuple[float, float, float, float]
_Stack = list[tuple[Part, float, Box]]


def shelf_packs(parts: Sequence[Part], frame: Frame) -> list[Pack]:
    """All pieces in stacks, the stacks in as few sections as they fit by first fit.

    Of three rules for turning the pieces the one with the least length in all is taken.
    """
    rules: tuple[Callable[[Box], tuple[float, float]], ...] = (
        lambda box: (box[2] - box[0], box[3] - box[1]),
        lambda box: (box[3] - box[1], box[2] - box[0]),
        lambda box: ((box[2] - box[0]) * (box[3] - box[1]), box[2] - box[0]),
    )
    layouts = [_packed(parts, frame, rule) for rule in rules]
    return min(layouts, key=lambda packs: sum(pack.length_mm for pack in packs))


def _packed(
    parts: Sequence[Part], frame: Frame, rule: Callable[[Box], tuple[float, float]]
) -> list[Pack]:
    pieces: _Stack = []
    for part in parts:
        turn = min(part.fitting, key=lambda turn: rule(part.bounds(turn)))
        pieces += [(part, turn, part.bounds(turn))] * part.request.copies
    pieces.sort(key=lambda piece: piece[2][0] - piece[2][2])
    stacks: list[tuple[float, _Stack]] = []
    for piece in pieces:
        height = piece[2][3] - piece[2][1]
        for i, (filled, stack) in enumerate(stacks):
            if filled + frame.gap_mm + height <= frame.usable_mm + 1e-6:
                stacks[i] = (filled + frame.gap_mm + height, [*stack, piece])
                break
        else:
            stacks.append((height, [piece]))
    sections: list[tuple[float, list[_Stack]]] = []
    for _, stack in stacks:
        width = stack[0][2][2] - stack[0][2][0]
        for i, (filled, held) in enumerate(sections):
            if filled + frame.gap_mm + width <= frame.longest_mm + 1e-6:
                sections[i] = (filled + frame.gap_mm + width, [*held, stack])
                break
        else:
            sections.append((width, [stack]))
    return [_section_pack(stacks, frame) for _, stacks in sections]


def _section_pack(stacks: Sequence[_Stack], frame: Frame) -> Pack:
    spots = []
    x = 0.0
    for stack in stacks:
        y = 0.0
        for part, turn, box in stack:
            spots.append(Spot(part, turn, x - box[0], y - box[1]))
            y += box[3] - box[1] + frame.gap_mm
        x += stack[0][2][2] - stack[0][2][0] + frame.gap_mm
    return make_pack(spots)
