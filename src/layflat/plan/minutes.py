"""How long the steps of a job take one person.

The numbers of `Pace` are assumptions of this program: a shop replaces them by its own record.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from layflat.base import SettingError

ASSUMED = "assumption of this program; replace by your own record"


class Step(StrEnum):
    """A step that takes somebody's time, in the order of work."""

    INTAKE = "intake"
    WASH = "wash"
    CUT = "cut"
    WEED = "weed"
    LAY = "lay"
    EDGES = "edges"
    INSPECT = "inspect"
    HAND_BACK = "hand-back"


@dataclass(frozen=True, kw_only=True)
class Pace:
    """Minutes of one person. Every default: assumption of this program.

    Attributes:
        intake: walking round the car with the customer, agreeing, pictures.
        wash: rinsing, iron and tar removal, contact wash, drying, whole car.
        cut_set_up: bringing film to the plotter, test cut, checking the feed.
        weed_per_piece, weed_per_cut_out, weed_per_m: taking waste away, per metre of outline.
        lay_per_piece, lay_per_m2: laying, a piece that asks nothing of the film.
        lay_per_wrap_m: for each metre of edge that is wrapped.
        lay_strain_factor: how much longer a piece takes when all of it is stretched beyond the
            film's limit, as a factor on top of 1; in between in proportion.
        edges_per_piece, edges_per_wrap_m: warming and pressing edges on the next day.
        inspect_set_up, inspect_per_piece: looking at each piece, by somebody else.
        hand_back: walking round again, explaining care.
    """

    intake: float = 30.0
    wash: float = 120.0
    cut_set_up: float = 15.0
    weed_per_piece: float = 2.0
    weed_per_cut_out: float = 0.5
    weed_per_m: float = 0.5
    lay_per_piece: float = 10.0
    lay_per_m2: float = 35.0
    lay_per_wrap_m: float = 6.0
    lay_strain_factor: float = 1.0
    edges_per_piece: float = 2.0
    edges_per_wrap_m: float = 3.0
    inspect_set_up: float = 10.0
    inspect_per_piece: float = 3.0
    hand_back: float = 30.0


@dataclass(frozen=True, kw_only=True)
class PieceWork:
    """One piece as far as its time depends on it.

    Attributes:
        name: the piece's.
        area_mm2: of film.
        outline_mm: length of its outline and its cut-outs.
        wrap_mm: length of its wrapped edges.
        cut_outs: how many holes are to be weeded.
        strained_share: share of its area beyond the film's stretch limit, 0 to 1.
    """

    name: str
    area_mm2: float
    outline_mm: float
    wrap_mm: float = 0.0
    cut_outs: int = 0
    strained_share: float = 0.0

    def __post_init__(self) -> None:
        sizes = (self.area_mm2, self.outline_mm, self.wrap_mm, self.cut_outs, self.strained_share)
        if not all(0.0 <= size < float("inf") for size in sizes) or self.strained_share > 1.0:
            raise SettingError(f"The piece “{self.name}” has an impossible size.")


@dataclass(frozen=True, kw_only=True)
class StepMinutes:
    """One step's time.

    Attributes:
        step: which.
        minutes: of one person, or together where two work.
        source: where the number is from, for a person.
    """

    step: Step
    minutes: float
    source: str

    @property
    def assumed(self) -> bool:
        """Whether no word of the shop stands behind the number."""
        return self.source == ASSUMED


@dataclass(frozen=True)
class Minutes:
    """The time of every step, in the order of work."""

    steps: tuple[StepMinutes, ...]

    @property
    def total(self) -> float:
        """All steps together, in minutes of one person."""
        return sum(step.minutes for step in self.steps)

    def of(self, step: Step) -> float:
        """The minutes of one step."""
        return next(item.minutes for item in self.steps if item.step is step)


def estimate_minutes(
    pieces: tuple[PieceWork, ...],
    *,
    pace: Pace | None = None,
    cutting_s: float = 0.0,
    given: Mapping[str, float] | None = None,
) -> Minutes:
    """The time of each step, from the pieces' sizes.

    Args:
        pieces: every piece of the job, each copy by itself.
        pace: the shop's own, or None for the assumptions of this program.
        cutting_s: what the cut program takes by its own estimate, in seconds.
        given: minutes that a person fixed, by the step's value (see `Step`).

    Raises:
        SettingError: *given* names a step that is not known.
    """
    own = pace or Pace()
    fixed = dict(given or {})
    unknown = sorted(set(fixed) - set(Step))
    if unknown:
        raise SettingError(f"The step “{unknown[0]}” is not known; known are {', '.join(Step)}.")
    assumed = ASSUMED if pace is None else "the shop's own pace"
    return Minutes(
        tuple(
            StepMinutes(step=step, minutes=fixed[step], source="given in the job")
            if step in fixed
            else StepMinutes(step=step, minutes=minutes, source=assumed)
            for step, minutes in _by_step(pieces, pace=own, cutting_s=cutting_s).items()
        )
    )


def _by_step(pieces: tuple[PieceWork, ...], *, pace: Pace, cutting_s: float) -> dict[Step, float]:
    count = len(pieces)
    wrap_m = sum(piece.wrap_mm for piece in pieces) / 1e3
    outline_m = sum(piece.outline_mm for piece in pieces) / 1e3
    cut_outs = sum(piece.cut_outs for piece in pieces)
    return {
        Step.INTAKE: pace.intake,
        Step.WASH: pace.wash,
        Step.CUT: pace.cut_set_up + cutting_s / 60.0,
        Step.WEED: count * pace.weed_per_piece
        + cut_outs * pace.weed_per_cut_out
        + outline_m * pace.weed_per_m,
        Step.LAY: sum(_laying(piece, pace=pace) for piece in pieces),
        Step.EDGES: count * pace.edges_per_piece + wrap_m * pace.edges_per_wrap_m,
        Step.INSPECT: pace.inspect_set_up + count * pace.inspect_per_piece,
        Step.HAND_BACK: pace.hand_back,
    }


def _laying(piece: PieceWork, *, pace: Pace) -> float:
    factor = 1.0 + pace.lay_strain_factor * piece.strained_share
    flat = pace.lay_per_piece + piece.area_mm2 / 1e6 * pace.lay_per_m2
    return factor * flat + piece.wrap_mm / 1e3 * pace.lay_per_wrap_m
