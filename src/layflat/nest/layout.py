"""Stock and layouts as values."""

from dataclasses import dataclass

from layflat.pattern import Pattern


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A stretch of the roll that no piece may lie on, over its whole width.

    Attributes:
        start_mm, end_mm: along the roll, from its cut end.
        reason: in words: a crease, dirt, a splice.
    """

    start_mm: float
    end_mm: float
    reason: str


@dataclass(frozen=True, kw_only=True)
class Stock:
    """Film to lay pieces out on; x runs along the roll from its cut end, y across it.

    Attributes:
        width_mm: width of the roll.
        edge_margin_mm: untouched strip at each roll edge (pinch rollers).
        end_margin_mm: untouched strip at both ends of every section.
        length_mm: length left, or None when it does not matter.
        faults: stretches that sections keep clear of, in any order.
    """

    width_mm: float
    edge_margin_mm: float
    end_margin_mm: float = 5.0
    length_mm: float | None = None
    faults: tuple[Stretch, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Request:
    """A pattern to lay out.

    Attributes:
        pattern: its outline and cut-outs.
        copies: how often.
        turns_deg: the turns that are allowed, in degrees counter-clockwise; None is any turn.
        mirrored: lay it mirrored (the other side of the car from the same pattern).
        lay: its turn in laying on the car, from 1; sections of what is laid first are cut first.
            None is after all that have one.
    """

    pattern: Pattern
    copies: int = 1
    turns_deg: tuple[float, ...] | None = (0.0, 180.0)
    mirrored: bool = False
    lay: int | None = None


@dataclass(frozen=True, kw_only=True)
class Placement:
    """One piece on the roll: mirrored about its y axis if asked, turned about its origin, moved.

    Attributes:
        pattern: in its own coordinates.
        number: piece number, from 1, in cutting order.
        copy: which copy of the request, from 1.
        section: index into the layout's sections.
        turn_deg: counter-clockwise.
        x_mm, y_mm: where the pattern's origin comes to lie.
        mirrored: whether it was mirrored (x to -x) first.
    """

    pattern: Pattern
    number: int
    copy: int
    section: int
    turn_deg: float
    x_mm: float
    y_mm: float
    mirrored: bool = False


@dataclass(frozen=True, kw_only=True)
class Section:
    """A stretch of the roll that is cut in one go and holds whole pieces only.

    Attributes:
        start_mm, end_mm: along the roll.
    """

    start_mm: float
    end_mm: float


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Pieces on stock.

    Attributes:
        stock: what they lie on.
        gap_mm: the least distance between pieces that was asked for.
        placements: every piece, in cutting order.
        sections: in order along the roll, without overlap.
        length_mm: film used, from the cut end to the end of the last section.
        piece_area_mm2: the area of all pieces, less their cut-outs.
        lower_bound_mm: no layout of these pieces on this stock can be shorter.
        seed, seconds: the search's seed and the time budget that it was given.
        requests: what was asked for; empty when that is not known (a drawing read back).
        notes: sentences on what a person should know: a fallback, a search cut short.
    """

    stock: Stock
    gap_mm: float
    placements: tuple[Placement, ...]
    sections: tuple[Section, ...]
    length_mm: float
    piece_area_mm2: float
    lower_bound_mm: float
    seed: int
    seconds: float
    requests: tuple[Request, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def yield_(self) -> float:
        """Area of the pieces over area of the film used, both edges included; 0 to 1."""
        return self.piece_area_mm2 / (self.length_mm * self.stock.width_mm)
