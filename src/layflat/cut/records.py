"""Cut programs as values."""

from dataclasses import dataclass


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
