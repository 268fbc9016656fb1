"""All lines and edges of a picture, closed and open, before it is said what they are."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from shapely import Polygon

from layflat.base import FloatArray
from layflat.photo.bridge import bridge
from layflat.photo.link import Chain, link
from layflat.photo.profile import Model
from layflat.photo.records import PhotoError
from layflat.photo.ridge import edge_points, line_points
from layflat.photo.working import Working

SIGMA_MM = 0.8
"""Of the search: by Steger's condition for pens up to 2.8 mm broad."""
LEAST_INK = 0.10
"""The least share of light that a line takes away."""
LEAST_STEP = 0.30
"""The least step of the light's logarithm at an edge: a third more light."""
_LEAST_MM = 4.0
_MOST_CHAINS = 1500
_FAINT = 0.35
"""Chains fainter than this share of the strongest long ones are none of them."""
_LONG_MM = 60.0


@dataclass(frozen=True, eq=False)
class Candidate:
    """A chain with what it could be.

    Attributes:
        chain: its points.
        model: line or edge.
    """

    chain: Chain
    model: Model

    @cached_property
    def polygon(self) -> Polygon:
        """What a closed chain goes round; simplified, and sound where the chain is."""
        return Polygon(self.chain.at_mm[:: max(1, len(self.chain.at_mm) // 2000)])

    @cached_property
    def area_mm2(self) -> float:
        """What it goes round; 0 when open."""
        return float(self.polygon.area) if self.chain.closed else 0.0

    def gap(self) -> tuple[FloatArray, FloatArray]:
        """Both ends of an open chain."""
        return self.chain.at_mm[0], self.chain.at_mm[-1]


def line_chains(picture: Working) -> list[Chain]:
    """Pieces of pen lines, not yet joined over gaps.

    Raises:
        PhotoError: there are so many that the sheet must be printed or patterned.
    """
    points = line_points(picture, sigma_mm=SIGMA_MM, least=LEAST_INK)
    chains = link(points, cell_mm=picture.cell_mm, directed=False, least_mm=_LEAST_MM)
    return _judged(chains)


def edge_chains(picture: Working) -> list[Chain]:
    """Pieces of edges, not yet joined; the lighter side is on the left.

    Raises:
        PhotoError: there are so many that the table must be patterned.
    """
    points = edge_points(picture, sigma_mm=SIGMA_MM, least=LEAST_STEP)
    chains = link(points, cell_mm=picture.cell_mm, directed=True, least_mm=_LEAST_MM)
    return _judged(chains)


def _judged(chains: list[Chain]) -> list[Chain]:
    if len(chains) > _MOST_CHAINS:
        raise PhotoError(
            "The picture is full of short lines and edges, so that none can be told for the "
            "template's; lay plain paper without print on a plain table and photograph it again."
        )
    long = [float(np.median(chain.strength)) for chain in chains if chain.length_mm > _LONG_MM]
    if not long:
        return chains
    least = _FAINT * max(long)
    return [chain for chain in chains if float(np.median(chain.strength)) >= least]


def joined(chains: list[Chain], model: Model, *, most_gap_mm: float) -> list[Candidate]:
    """Chains joined over gaps, as candidates, the longest first."""
    return [
        Candidate(chain, model)
        for chain in bridge(chains, directed=model == "edge", most_gap_mm=most_gap_mm)
    ]
