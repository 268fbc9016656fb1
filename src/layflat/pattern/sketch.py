"""What a reader found in a file, before it is judged."""

from dataclasses import dataclass, field

import numpy as np
from shapely import Polygon

from layflat.base import DrawingError, FloatArray
from layflat.pattern.drawing import Text
from layflat.pattern.loops import ClosedLoop, Stroke

_MOST_MM = 1e6


@dataclass
class Sketch:
    """What a reader found in a file, in mm, y upwards.

    Attributes:
        strokes: lines by layer name, upper case.
        texts: words with their places.
        points: places marked by a point on layer MARK.
    """

    strokes: dict[str, list[Stroke]] = field(default_factory=dict)
    texts: list[Text] = field(default_factory=list)
    points: list[FloatArray] = field(default_factory=list)

    def add(self, layer: str, stroke: Stroke) -> None:
        """Take a stroke in.

        Raises:
            DrawingError: it is not finite, or absurdly far out.
        """
        extent = max(stroke.points_mm.max(), -stroke.points_mm.min())
        # Most strokes of a large drawing are straight, and have no bellies.
        is_bent = bool(stroke.bulges.any())
        if not np.isfinite(extent) or (is_bent and not np.isfinite(stroke.bulges).all()):
            raise DrawingError(f"{stroke.source} holds a number that is not finite.")
        if is_bent:
            chords = np.diff(stroke.points_mm, axis=0, append=stroke.points_mm[:1])
            bellies = 0.5 * np.abs(stroke.bulges) * np.hypot(*chords.T)[: len(stroke.bulges)]
            extent += bellies.max()
        if extent > _MOST_MM:
            raise DrawingError(
                f"{stroke.source} reaches {extent / 1000:.0f} m from the origin; is the "
                "drawing's unit right?"
            )
        self.strokes.setdefault(layer.upper(), []).append(stroke)


@dataclass(eq=False)
class Part:
    """A loop with its polygon, while pieces are put together."""

    loop: ClosedLoop
    polygon: Polygon
    holes: list["Part"] = field(default_factory=list)
