"""Cut programs as values."""

import math
from dataclasses import dataclass
from typing import Literal

CutKind = Literal["heading", "outline", "opening", "weed line", "witness"]
"""What a cut is for."""

BridgeKind = Literal["tab", "hinge"]
"""A short stretch that stays uncut, one of several, or one longer one."""


@dataclass(frozen=True, kw_only=True)
class Cut:
    """What belongs together in a program: one line of a piece, or one thing cut in the waste.

    Attributes:
        piece: index into `SectionProgram.pieces`, or None for what is cut in the waste.
        kind: what it is for.
        first, last: its strokes, half open: from *first* to before *last*, among the strokes with
            the knife down as `read_hpgl` gives them. More than one where bridges are left.
    """

    piece: int | None
    kind: CutKind
    first: int
    last: int


@dataclass(frozen=True, kw_only=True)
class Bridge:
    """A stretch of an outline that stays uncut by wish, so that the piece stays in its sheet.

    Attributes:
        piece: index into `SectionProgram.pieces`.
        kind: what it is.
        x_mm, y_mm: its middle on the outline, from the section's start and the roll's edge.
        length_mm: along the outline, as the tip leaves it; the film's own bridge is longer by
            what the lowered blade needs to get through.
    """

    piece: int
    kind: BridgeKind
    x_mm: float
    y_mm: float
    length_mm: float


@dataclass(frozen=True, kw_only=True)
class Witness:
    """A return of the head to a mark that it has made, so that a drift of the film shows.

    Attributes:
        number: of the return, from 1.
        side: “near” or “far”: in which margin the mark lies.
        x_mm, y_mm: its middle, from the section's start and the roll's edge.
        fed_mm: how much film was fed for the first time since the mark was made.
        travelled_mm: how far the head had gone along the roll since then, to and fro together.
        stroke: index of the first stroke of the smaller cross that is cut on the mark.
        station_mm: how far along the section the head cut a cross in this margin before it
            returned; None where that would have met the row of marks.
    """

    number: int
    side: str
    x_mm: float
    y_mm: float
    fed_mm: float
    travelled_mm: float
    stroke: int
    station_mm: float | None = None

    @property
    def name(self) -> str:
        """What a person calls it, e.g. “2 near”."""
        return f"{self.number} {self.side}"


@dataclass(frozen=True, kw_only=True)
class Rectangle:
    """Four crosses of one return, in both margins, whose diagonals a tape can compare.

    Attributes:
        number: of the return.
        along_mm, across_mm: from cross to cross, along the roll and across it.
    """

    number: int
    along_mm: float
    across_mm: float

    @property
    def diagonal_mm(self) -> float:
        """Both diagonals, on film that was cut square."""
        return math.hypot(self.along_mm, self.across_mm)


@dataclass(frozen=True, kw_only=True)
class SectionProgram:
    """The program of one section, for a roll that stands at the section's start.

    Attributes:
        number: the section, from 1, along the roll.
        start_mm, end_mm: along the roll from its cut end.
        hpgl: the text; x from the section's start, y from the roll's edge.
        pieces: names of its pieces in the order of cutting.
        strokes: how often the knife is lowered.
        cut_length_mm: way of the pivot with the knife down.
        travel_length_mm: way with the knife up.
        seconds: estimated time.
        witnesses: the returns to witness marks, in order; see `witnessed`.
        cuts: what its strokes belong to, in order, every stroke in exactly one; empty for a
            program that does not say so.
        bridges: what stays uncut of outlines, to be torn or cut by hand.
    """

    number: int
    start_mm: float
    end_mm: float
    hpgl: str
    pieces: tuple[str, ...]
    strokes: int
    cut_length_mm: float
    travel_length_mm: float
    seconds: float
    witnesses: tuple[Witness, ...] = ()
    cuts: tuple[Cut, ...] = ()
    bridges: tuple[Bridge, ...] = ()

    @property
    def rectangles(self) -> tuple[Rectangle, ...]:
        """What the crosses of its returns make, where both margins have them."""
        found = []
        for near in self.witnesses:
            for far in self.witnesses:
                if (near.side, far.side) != ("near", "far") or near.number != far.number:
                    continue
                if near.station_mm is not None and near.x_mm == far.x_mm:
                    found.append(
                        Rectangle(
                            number=near.number,
                            along_mm=near.station_mm - near.x_mm,
                            across_mm=far.y_mm - near.y_mm,
                        )
                    )
        return tuple(found)

    @property
    def cut_names(self) -> tuple[str, ...]:
        """What a person calls each of `cuts`, e.g. “opening 2 of hood”."""
        names = []
        counts: dict[tuple[int | None, str], int] = {}
        for cut in self.cuts:
            number = counts[cut.piece, cut.kind] = counts.get((cut.piece, cut.kind), 0) + 1
            which = cut.kind if cut.kind == "outline" else f"{cut.kind} {number}"
            names.append(which if cut.piece is None else f"{which} of {self.pieces[cut.piece]}")
        return tuple(names)


@dataclass(frozen=True, kw_only=True)
class TipError:
    """How far the simulated cut lies from the pattern, over a whole program.

    Attributes:
        max_away_mm: greatest distance away from corners, cut to pattern and pattern to cut.
        max_corner_mm: the same at corners.
        p95_mm: 95th percentile of the cut's distance from the pattern, by length.
        uncut_mm: length of pattern lines that no cut follows within the tolerance.
        stray_mm: how deep a cut enters a piece away from its lines, at most.
        least_overlap_mm: the least length over which a closed cut runs on beyond its start.
    """

    max_away_mm: float
    max_corner_mm: float
    p95_mm: float
    uncut_mm: float
    stray_mm: float
    least_overlap_mm: float


@dataclass(frozen=True, kw_only=True)
class CutProgram:
    """A program for a whole drawing, section by section; every one has passed its check.

    Attributes:
        machine: name of the machine that it was made for.
        sections: in order along the roll; sections without pieces have no program.
        hpgl: all sections as one text, x from the roll's cut end.
        tip_error: what the simulation of the blade's tip measured.
        notes: sentences for a person.
    """

    machine: str
    sections: tuple[SectionProgram, ...]
    hpgl: str
    tip_error: TipError
    notes: tuple[str, ...] = ()

    @property
    def strokes(self) -> int:
        """How often the knife is lowered."""
        return sum(section.strokes for section in self.sections)

    @property
    def cut_length_mm(self) -> float:
        """Way of the pivot with the knife down."""
        return sum(section.cut_length_mm for section in self.sections)

    @property
    def travel_length_mm(self) -> float:
        """Way with the knife up."""
        return sum(section.travel_length_mm for section in self.sections)

    @property
    def seconds(self) -> float:
        """Estimated time of all sections, without the person's own between them."""
        return sum(section.seconds for section in self.sections)
