"""A layout that a person has made by moving pieces: its sections, and all that is wrong with it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from layflat.base import CheckError
from layflat.nest.check import TOLERANCE_MM, find_faults, find_misfits
from layflat.nest.findings import Fault, Finding
from layflat.nest.lanes import Reach, lane_mm, lanes_between
from layflat.nest.layout import Layout, Placement
from layflat.pattern import bounds, transform

_NAMED = 3
_FEW = 4


@dataclass(frozen=True, kw_only=True)
class HandJudgement:
    """What is to be said of a layout made by hand.

    Attributes:
        layout: the same pieces where they lie, in the sections that they make, in cutting order,
            with their numbers; its length is the film that they take.
        findings: what is wrong; their pieces are places in this layout.
    """

    layout: Layout
    findings: tuple[Finding, ...]

    @property
    def is_cuttable(self) -> bool:
        """Whether nothing is wrong."""
        return not self.findings

    @property
    def sentence(self) -> str:
        """What is wrong, in one sentence; "" for nothing."""
        if not self.findings:
            return ""
        named = "; ".join(finding.sentence for finding in self.findings[:_NAMED])
        more = len(self.findings) - _NAMED
        return f"It cannot be cut like this: {named}{f'; and {more} more' if more > 0 else ''}."

    def require_cuttable(self) -> Layout:
        """The layout, if nothing is wrong with it.

        Raises:
            CheckError: something is; the message names the pieces.
        """
        if self.findings:
            raise CheckError(self.sentence)
        return self.layout


def judge_hand(layout: Layout, *, max_section_mm: float | None = None) -> HandJudgement:
    """Judge pieces as a person has put them, by the geometry that every layout is checked by.

    Looked at is all that `check_layout` looks at, and besides whether sections are short enough
    and the roll is long enough. A section ends where a straight lane across the roll is free of
    pieces, as wide as two end margins or the gap.

    Args:
        layout: the pieces where they lie now, by their placements. Of its sections only the ends
            count: where a lane is still there, a section ends there again. Its requests say how
            pieces may be turned; without any that is not looked at.
        max_section_mm: longest section, its end margins included; None is any length.
    """
    longest = (
        math.inf if max_section_mm is None else max_section_mm - 2 * layout.stock.end_margin_mm
    )
    along = [along_roll(placement) for placement in layout.placements]
    sections, own, too_long = lanes_between(
        along,
        layout.stock,
        gap_mm=layout.gap_mm,
        longest_mm=longest + TOLERANCE_MM,
        kept_mm=[section.end_mm for section in layout.sections[:-1]],
    )
    order = sorted(range(len(own)), key=lambda i: (own[i], along[i]))
    place_of = {old: new for new, old in enumerate(order)}
    made = replace(
        layout,
        placements=tuple(replace(layout.placements[i], section=own[i]) for i in order),
        sections=sections,
        length_mm=sections[-1].end_mm if sections else 0.0,
    )
    findings = [
        *find_faults(made),
        *find_misfits(made.requests, made.placements),
        *(
            _long_section(
                made, replace(one, pieces=tuple(place_of[i] for i in one.pieces)), longest
            )
            for one in too_long
        ),
        *_short_roll(made),
    ]
    return HandJudgement(layout=made, findings=tuple(findings))


def along_roll(placement: Placement) -> tuple[float, float]:
    """Where a piece begins and ends along the roll, in mm, exact."""
    turned = transform(
        placement.pattern.outline, turn_deg=placement.turn_deg, mirrored=placement.mirrored
    )
    x0, _, x1, _ = bounds(turned)
    return x0 + placement.x_mm, x1 + placement.x_mm


def _long_section(layout: Layout, reach: Reach, longest_mm: float) -> Finding:
    numbers = sorted(layout.placements[i].number for i in reach.pieces)
    lane = lane_mm(layout.stock, layout.gap_mm)
    found = reach.end_mm - reach.start_mm
    if len(numbers) == 1:
        told = f"piece {numbers[0]} is {found:.0f} mm long, and a section holds {longest_mm:.0f} mm"
    else:
        told = (
            f"{_listed(numbers)} lie together on {found:.0f} mm, and a section holds "
            f"{longest_mm:.0f} mm: leave a straight lane of {lane:g} mm across the roll"
        )
    return Finding(
        fault=Fault.LONG_SECTION,
        sentence=told,
        pieces=tuple(sorted(reach.pieces)),
        amount_mm=found - longest_mm,
    )


def _listed(numbers: Sequence[int]) -> str:
    if len(numbers) > _FEW:
        return f"{len(numbers)} pieces"
    return f"pieces {', '.join(str(number) for number in numbers[:-1])} and {numbers[-1]}"


def _short_roll(layout: Layout) -> list[Finding]:
    length = layout.stock.length_mm
    if length is None or layout.length_mm <= length + TOLERANCE_MM:
        return []
    over = layout.length_mm - length
    sentence = (
        f"the pieces take {layout.length_mm:.0f} mm of film, {over:.0f} mm more than there is"
    )
    return [Finding(fault=Fault.ROLL, sentence=sentence, amount_mm=over)]
