"""Where a program may halt: the knife up, between two cuts."""

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from layflat.base import InputError
from layflat.cut.records import Cut, CutKind, SectionProgram

_PEN = re.compile(r"P([UD])")


def lowerings(hpgl: str) -> list[int]:
    """The offsets in a text at which the knife is lowered: of the first `PD` after each `PU`."""
    pens = [("U", 0), *((match.group(1), match.start()) for match in _PEN.finditer(hpgl))]
    return [
        at for (before, _), (now, at) in itertools.pairwise(pens) if before == "U" and now == "D"
    ]


def safe_points(section: SectionProgram) -> tuple[int, ...]:
    """Offsets in the section's text at which the knife is up between two cuts, and the end.

    A machine that has got all before such an offset stands above the place where the next cut
    begins, knife up. At one place of a cut with bridges the knife is up as well; that is no safe
    point, for the line is not whole there. The text is ASCII: offsets count characters and bytes
    alike. A program that does not tell its cuts may halt at every lowering.

    Raises:
        InputError: the text has not as many strokes as its cuts say.
    """
    found = lowerings(section.hpgl)
    if len(found) != section.strokes or (section.cuts and section.cuts[-1].last != len(found)):
        raise InputError(
            f"Section {section.number}: its text lowers the knife {len(found)} times, its record "
            f"says {section.strokes}. Make the program anew."
        )
    firsts = [cut.first for cut in section.cuts] or range(len(found))
    return (*(found[first] for first in firsts), len(section.hpgl))


def cuts_among(
    cuts: Sequence[Cut], added: Mapping[int, int], *, kind: CutKind = "witness"
) -> tuple[Cut, ...]:
    """The cuts of a program after strokes were put between them.

    Args:
        cuts: before; empty stays empty.
        added: by the index of the stroke that they come before, how many strokes were put in, as
            one cut in the waste; the number of strokes is the end.
        kind: of what was put in.
    """
    if not cuts:
        return ()
    found: list[Cut] = []
    shift = 0
    for first in sorted({*added, *(cut.first for cut in cuts)}):
        count = added.get(first, 0)
        if count:
            found.append(
                Cut(piece=None, kind=kind, first=first + shift, last=first + shift + count)
            )
            shift += count
        found += [
            replace(cut, first=cut.first + shift, last=cut.last + shift)
            for cut in cuts
            if cut.first == first
        ]
    return tuple(found)
