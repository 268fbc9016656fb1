"""What covering a panel with one piece or with several comes to: strain, seams, film, minutes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FitError, FloatArray, SettingError
from layflat.film import Flat, overlaps
from layflat.fit.blank_rectangle import least_rectangle
from layflat.fit.judged import Judged, judge
from layflat.fit.relief_words import visible_length_mm
from layflat.fit.seam_cut import is_seam
from layflat.surface import Region

_ANY_ROLL_MM = 1e6


@dataclass(frozen=True, kw_only=True)
class SeamRates:
    """What film and minutes are worth. Every default: assumption of this program.

    Attributes:
        piece_min: weeding, laying, edges and looking over, for each piece.
        m2_min: laying a square metre that asks nothing of the film.
        strain_factor: how much longer laying takes when all of a piece is stretched beyond the
            film's limit, as a factor on top of 1; in between in proportion.
        seam_m_min: drawing a metre of seam on the panel, laying one edge on the other.
        margin_mm: waste round each piece's least rectangle.
        film_per_m2, per_hour: what film and work cost, in one currency.
    """

    piece_min: float = 17.0
    m2_min: float = 35.0
    strain_factor: float = 1.0
    seam_m_min: float = 6.0
    margin_mm: float = 4.0
    film_per_m2: float = 40.0
    per_hour: float = 60.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not 0.0 <= value < 1e6:
                raise SettingError(f"For seams, “{name}” is {value:g}; it must be 0 or more.")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One way of covering a panel.

    Attributes:
        pieces: how many.
        judged: what laying them asks of the film.
        film_mm2: their least rectangles off a roll, a margin round each counted.
        fits_roll: whether each fits the roll's width.
        seam_mm, visible_seam_mm: the length of all seams, and of what is seen of them.
        minutes, cost: of one person; work and film.
        sentence: the same in words.
    """

    pieces: int
    judged: Judged
    film_mm2: float
    fits_roll: bool
    seam_mm: float
    visible_seam_mm: float
    minutes: float
    cost: float
    sentence: str


@dataclass(frozen=True, eq=False)
class Seen:
    """What is seen of a panel.

    Attributes:
        points_mm: (n, 3) float64.
        visibility, crease: (n,) float64, at each point.
    """

    points_mm: FloatArray
    visibility: FloatArray
    crease: FloatArray


def outcome_of(
    regions: Sequence[Region],
    flats: Sequence[Flat],
    *,
    seen: Seen,
    rates: SeamRates,
    roll_mm: float,
) -> Outcome:
    """What these pieces come to together."""
    judged = judge(*flats)
    # Of the two edges along each seam one is counted.
    seams: dict[str, tuple[float, float]] = {}
    for region in regions:
        own: dict[str, tuple[float, float]] = {}
        for name, length, visible in _seams(region, seen):
            before = own.get(name, (0.0, 0.0))
            own[name] = (before[0] + length, before[1] + visible)
        for name, lengths in own.items():
            seams.setdefault(name, lengths)
    seam, visible = (
        (sum(values) for values in zip(*seams.values(), strict=True)) if seams else (0.0, 0.0)
    )
    rectangles = [_rectangle_mm2(r, f, rates, roll_mm) for r, f in zip(regions, flats, strict=True)]
    film_mm2 = sum(area for area, _ in rectangles)
    fits = all(fit for _, fit in rectangles)
    area_m2 = sum(flat.mesh.area_mm2 for flat in flats) / 1e6
    minutes = (
        len(flats) * rates.piece_min
        + area_m2 * rates.m2_min * (1.0 + rates.strain_factor * judged.share_over_stretch_limit)
        + seam / 1e3 * rates.seam_m_min
    )
    cost = film_mm2 / 1e6 * rates.film_per_m2 + minutes / 60.0 * rates.per_hour
    many = "One piece" if len(flats) == 1 else f"{len(flats)} pieces"
    words = f", {seam:.0f} mm of seam, {visible:.0f} mm of it in sight" if seams else ""
    wide = "" if fits else f" Too wide for a roll of {roll_mm:g} mm."
    return Outcome(
        pieces=len(flats),
        judged=judged,
        film_mm2=film_mm2,
        fits_roll=fits,
        seam_mm=seam,
        visible_seam_mm=visible,
        minutes=minutes,
        cost=cost,
        sentence=(
            f"{many}{words}: {film_mm2 / 1e6:.2f} m² of film, about {minutes:.0f} minutes, "
            f"{cost:.0f} in film and work.{wide} {judged.sentence}"
        ),
    )


def is_whole(flat: Flat) -> bool:
    """Whether a flat shape does not overlap itself."""
    return not overlaps(flat)


def seam_lines(region: Region) -> list[tuple[str, FloatArray]]:
    """Name and points, each (k, 3), of each edge of a piece along a seam."""
    found = []
    for loop in region.loops:
        for number, edge in enumerate(loop.edges):
            if is_seam(edge.kind, edge.name):
                own = np.flatnonzero(loop.edge_of == number)
                ids = np.append(loop.vertices[own], np.roll(loop.vertices, -1)[own[-1]])
                found.append((edge.name, region.mesh.vertices_mm[ids]))
    return found


def _seams(region: Region, seen: Seen) -> list[tuple[str, float, float]]:
    """Name, length and visible length of each edge of a piece along a seam."""
    tree, found = KDTree(seen.points_mm), []
    for name, points in seam_lines(region):
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        near = tree.query(points)[1]
        visible = visible_length_mm(steps, seen.visibility[near], seen.crease[near])
        found.append((name, float(steps.sum()), visible))
    return found


def _rectangle_mm2(
    region: Region, flat: Flat, rates: SeamRates, roll_mm: float
) -> tuple[float, bool]:
    """The film of a piece's least rectangle, and whether it fits the roll."""
    outline = flat.points_mm[region.loops[0].vertices]
    for width, fits in ((roll_mm, True), (_ANY_ROLL_MM, False)):
        try:
            rectangle = least_rectangle(
                outline,
                roll_mm=width,
                margin_mm=rates.margin_mm,
                one_direction=flat.film.one_direction,
                least_rest_mm=0.0,
            )
        except FitError:
            # It is too wide; what it would take of a wider roll is still told.
            continue
        return rectangle.along_mm * rectangle.across_mm, fits
    raise FitError("A piece is larger than any roll; check the unit of the body's file.")
