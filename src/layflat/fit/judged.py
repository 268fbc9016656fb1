"""What laying one piece, or several together, asks of the film: the figures that are compared."""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, InputError
from layflat.film import Flat
from layflat.fit.fingers import Fingers, compression, find_fingers

PERCENTILE = 0.99
"""Greatest stretch and compression are those that this part of the surface does not pass."""


@dataclass(frozen=True)
class Judged:
    """One way of covering a surface, with one piece or with several.

    Attributes:
        greatest_stretch: the greater principal stretch (1 = as on the roll), its 99th percentile
            by area, as `StretchSummary.greatest_p99`.
        share_over_stretch_limit: part of the surface stretched beyond the film's limit, 0 to 1.
        greatest_compression: the compression of `layflat.fit.fingers`, a fraction, its 99th
            percentile by area; 0 where nothing is pressed.
        finger_zones: zones of fingers.
        finger_excess_mm: film too much, all zones together.
        energy_mj: elastic energy of the laid film.
        within_limits: no finger zone, and the greatest stretch is within the film's limit.
        sentence: the same in words.
    """

    greatest_stretch: float
    share_over_stretch_limit: float
    greatest_compression: float
    finger_zones: int
    finger_excess_mm: float
    energy_mj: float
    within_limits: bool
    sentence: str


def judge(*flats: Flat, fingers: tuple[Fingers, ...] | None = None) -> Judged:
    """The figures of *flats* together.

    Args:
        flats: one piece or several that cover a surface, each with its film.
        fingers: the zones of each, if they have been found already.

    Raises:
        InputError: there is no piece, or the fingers are not of these pieces.
    """
    if not flats:
        raise InputError("There is no piece to judge.")
    if fingers is None:
        fingers = tuple(find_fingers(flat) for flat in flats)
    if len(fingers) != len(flats):
        raise InputError("The fingers do not belong to the pieces that are judged.")
    areas = np.concatenate([flat.mesh.face_areas_mm2 for flat in flats])
    stretch = np.concatenate([flat.strain.greatest for flat in flats])
    over = np.concatenate([flat.strain.greatest > 1.0 + flat.film.stretch_limit for flat in flats])
    pressed = np.concatenate([compression(flat) for flat in flats])
    zones = sum(len(found.zones) for found in fingers)
    excess = float(sum(zone.excess_mm for found in fingers for zone in found.zones))
    greatest = _percentile(stretch, areas)
    share = float(areas[over].sum() / areas.sum())
    within = zones == 0 and share <= 1.0 - PERCENTILE
    compressed = max(_percentile(pressed, areas), 0.0)
    return Judged(
        greatest_stretch=greatest,
        share_over_stretch_limit=share,
        greatest_compression=compressed,
        finger_zones=zones,
        finger_excess_mm=excess,
        energy_mj=float(sum(flat.energy_mj for flat in flats)),
        within_limits=within,
        sentence=_sentence(greatest, share, compressed, zones, excess),
    )


def _sentence(greatest: float, share: float, compressed: float, zones: int, excess: float) -> str:
    stretch = f"stretched by up to {100 * (greatest - 1):.1f} %"
    if share > 1.0 - PERCENTILE:
        stretch += f", {100 * share:.0f} % of it beyond the film's limit"
    if not zones:
        return f"The film is {stretch}; no fingers."
    word = "1 zone" if zones == 1 else f"{zones} zones"
    return (
        f"The film is {stretch}; fingers in {word}, {excess:.1f} mm too much film in all, "
        f"pressed by up to {100 * compressed:.1f} %."
    )


def _percentile(values: FloatArray, weights: FloatArray) -> float:
    """The least value that `PERCENTILE` of the weight does not pass."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    at = int(np.searchsorted(reached, PERCENTILE * reached[-1]))
    return float(values[order[min(at, len(order) - 1)]])
