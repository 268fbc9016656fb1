"""Relief cuts that would help a piece, as its row keeps them."""

from typing import Any

import numpy as np

from layflat.base import FloatArray
from layflat.film import flatten
from layflat.fit import propose_reliefs
from layflat.job import Piece, whole_region
from layflat.surface import BodyInfo, Mesh
from layflat.web.cover.choices import Choices

_DECIMALS = 3


def refused_of(choices: Choices, panel: str) -> tuple[FloatArray, ...]:
    """The paths of cuts that were refused on a panel."""
    choice = choices.of(panel)
    return () if choice is None else tuple(np.array(path) for path in choice.refused_reliefs)


def reliefs_json(
    piece: Piece, info: BodyInfo, body: Mesh, *, refused: tuple[FloatArray, ...]
) -> dict[str, Any]:
    """Cuts that would help, beside those that are taken.

    ``{"proposals": [{"name": "R3", "path": [[x, y, z], …], "words"}], "sentences": [words]}``,
    with names that go on after the cuts that are taken.

    Args:
        piece: as computed, with the cuts that are taken.
        info: its body's directions.
        body: the body, mended.
        refused: paths near which none is proposed.
    """
    cover = piece.cover
    region, flat = piece.region, piece.flat
    if cover.reliefs:
        region = whole_region(cover, piece.panel, body)
        flat = flatten(region.mesh, flat.film, finger_aversion=flat.finger_aversion)
    found = propose_reliefs(
        region,
        flat,
        kept=cover.reliefs,
        refused=refused,
        most=max(6, len(cover.reliefs)),
        up=info.up,
        forward=info.forward,
        body=body,
    )
    return {
        "proposals": [
            {
                "name": f"R{number}",
                "path": relief.path_mm.round(_DECIMALS).tolist(),
                "words": " ".join(relief.reasons),
            }
            for number, relief in enumerate(found.proposals, start=found.kept + 1)
        ],
        "sentences": list(found.sentences),
    }
