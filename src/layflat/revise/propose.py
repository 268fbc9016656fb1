"""The same panel on another car: the nearest known pattern as a start."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from layflat.base import FloatArray, InputError, counted
from layflat.pattern import Pattern, place
from layflat.revise.align import Alignment, Landmarks, aligned
from layflat.revise.carry import carried, moves
from layflat.revise.checks import least_jacobian, require_whole
from layflat.revise.outline import Outline
from layflat.revise.plate import Field, Taps, bend

_ON_OUTLINE_MM = 0.5
_LEAST_LANDMARKS = 3


@dataclass(frozen=True, eq=False)
class Known:
    """A pattern that is known, with its landmarks by name, in its own mm."""

    name: str
    pattern: Pattern
    landmarks: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Proposal:
    """A known pattern laid on a template.

    Attributes:
        known: the pattern.
        alignment: how it lies, and by how much it misses.
    """

    known: Known
    alignment: Alignment

    @property
    def laid(self) -> Pattern:
        """The known pattern where it lies on the template, not deformed."""
        lie = self.alignment
        return place(
            self.known.pattern,
            turn_deg=lie.turn_deg, x_mm=lie.x_mm, y_mm=lie.y_mm, mirrored=lie.mirrored,
        )  # fmt: skip

    def sentence(self) -> str:
        """The proposal in words."""
        lie = self.alignment
        mirrored = ", mirrored" if lie.mirrored else ""
        return (
            f"“{self.known.name}”{mirrored}: its outline misses by {lie.rms_mm:.1f} mm RMS, at "
            f"most {lie.most_mm:.1f} mm."
        )


@dataclass(frozen=True, eq=False)
class Started:
    """A start for a template.

    Attributes:
        pattern: the known pattern, laid and deformed to the landmarks.
        field: what deformed it after it was laid.
        said: sentences for a person.
    """

    pattern: Pattern
    field: Field
    said: tuple[str, ...]


def propose(
    template: Pattern,
    known: Sequence[Known],
    *,
    landmarks: Landmarks | None = None,
    may_mirror: bool = False,
) -> tuple[Proposal, ...]:
    """Known patterns laid on a template, the nearest first.

    Args:
        template: the new car's outline, as exact as it is known.
        known: what may serve.
        landmarks: the template's landmarks by name.
        may_mirror: whether a pattern may serve mirrored, as one of the other side does.

    Raises:
        InputError: a landmark is not finite, or there is nothing to choose from.
    """
    if not known:
        raise InputError("There is no known pattern to start from; draw or photograph a template.")
    found = [
        Proposal(
            item,
            aligned(
                item.pattern,
                template,
                mirrored=mirrored,
                landmarks=item.landmarks,
                template_landmarks=landmarks,
            ),
        )
        for item in known
        for mirrored in ((False, True) if may_mirror else (False,))
    ]
    return tuple(sorted(found, key=lambda proposal: proposal.alignment.rms_mm))


def start_from(proposal: Proposal, landmarks: Landmarks) -> Started:
    """A proposal's pattern deformed until its landmarks lie on the template's.

    By a thin-plate spline through the landmarks that both have; with fewer than three it is
    laid only. Straight lines stay straight and cut-outs keep their shape.

    Args:
        proposal: the proposal.
        landmarks: the template's landmarks by name.

    Raises:
        InputError: the landmarks lie on one line, or fight until the film would fold.
    """
    laid = proposal.laid
    lie = proposal.alignment
    common = [name for name in proposal.known.landmarks if name in landmarks]
    if len(common) < _LEAST_LANDMARKS:
        few = (
            "The piece was laid but not deformed: it and the template have "
            f"{counted(len(common), 'landmark')} in common, and {_LEAST_LANDMARKS} are needed."
        )
        return Started(
            laid,
            Field.still(),
            (few,),
        )
    source = lie.carried(np.array([proposal.known.landmarks[name] for name in common]))
    target = np.array([landmarks[name] for name in common])
    outline = Outline(laid.outline, laid.outline_corners)
    parts = [_taps(point, outline) for point in source]
    field_ = bend(
        Taps.join(parts),
        (target - source).ravel(),
        np.zeros((2 * len(source), 2 * len(source))),
        reach_mm=None,
    )
    least_jacobian(field_, outline, ())
    done = carried(laid, outline, field_)
    narrow = require_whole(laid, done.pattern, ())
    moved = float(np.hypot(*(target - source).T).max())
    said = (
        f"The piece was deformed to {len(common)} landmarks, the farthest {moved:.1f} mm away. It "
        "is a start only: lay it, note how it fits, and revise it."
    )
    return Started(done.pattern, field_, (said, *narrow))


def _taps(point: FloatArray, outline: Outline) -> Taps:
    """The displacement in x and y of a landmark, on the outline as the outline moves."""
    station, away = outline.nearest(point[None])
    if float(away[0]) <= _ON_OUTLINE_MM:
        twice = outline.place(np.repeat(station, 2))
        return moves(outline, *twice).along(np.eye(2))
    return Taps(np.tile(point, (2, 1)), np.eye(2), np.arange(2))
