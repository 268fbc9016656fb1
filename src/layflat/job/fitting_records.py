"""What is asked of how a front fits, and what comes of it for one panel."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Final

from layflat.base import FloatArray, digest
from layflat.film import Film
from layflat.fit import (
    BlankOrFitted,
    BlankRates,
    Fingers,
    Judged,
    PiecePlan,
    Reliefs,
    SeamRates,
    Seams,
    Sight,
)
from layflat.job.order import FilmOrder
from layflat.job.pieces import Piece
from layflat.plan import Pace
from layflat.surface import BodyInfo, Mesh, Prepared, prepare

MOST_RELIEFS: Final = 6


@dataclass(frozen=True, kw_only=True)
class Fitting:
    """How proposals are made.

    Attributes:
        sight: how well places of the car are seen.
        refused_reliefs: paths that a person refused, by panel: none is proposed near them.
        most_reliefs: no more reliefs on a panel than this.
        refused_seams: the same for seams.
        seam_rates: what a seam takes, or None for its assumptions.
        blank_rates: what a blank takes, or None for its assumptions.
        pace: minutes of one person, or None for the assumptions of this program.
    """

    sight: Sight = field(default_factory=Sight)
    refused_reliefs: Mapping[str, Sequence[FloatArray]] = field(default_factory=dict)
    most_reliefs: int = MOST_RELIEFS
    refused_seams: Mapping[str, Sequence[FloatArray]] = field(default_factory=dict)
    seam_rates: SeamRates | None = None
    blank_rates: BlankRates | None = None
    pace: Pace | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class FittedPanel:
    """One panel, or its part beside a seam, with all that is to be known of how film fits it.

    Attributes:
        piece: as it is ordered, with the reliefs that were accepted.
        fingers: where that piece fingers.
        judged: what laying it asks of the film.
        reliefs: further cuts that would help, each with its gain.
        seams: one piece against two; None for a part beside a seam that was accepted.
        blank: a bulk rectangle beside the pattern.
        plan: how the piece is laid.
    """

    piece: Piece
    fingers: Fingers
    judged: Judged
    reliefs: Reliefs
    seams: Seams | None
    blank: BlankOrFitted
    plan: PiecePlan

    @property
    def name(self) -> str:
        """The piece's."""
        return self.piece.name


class WorkBody:
    """The body, prepared for cutting once that is needed."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.key = digest(mesh)

    @cached_property
    def prepared(self) -> Prepared:
        """For cutting panels out of it."""
        return prepare(self.mesh)


@dataclass(frozen=True, eq=False)
class WorkGiven:
    """What the work on every panel needs."""

    order: FilmOrder
    body: WorkBody
    info: BodyInfo
    film: Film
    how: Fitting
    folder: Path
