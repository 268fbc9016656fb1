"""Relief cuts of a piece, as its row keeps them: those it was computed with, and further ones."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from layflat.base import FloatArray
from layflat.film import Flat, flatten, to_flat
from layflat.fit import nearest_part, propose_reliefs, seen_length_mm
from layflat.job import MOST_RELIEFS, Piece, part_regions
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
    """The cuts of a piece, and further ones that would help.

    ``{"taken": [cut, …], "proposals": [cut, …], "sentences": [words]}``, each cut ``{"path":
    [[x, y, z], …], "flat": [[x, y], …]}`` from the edge to its tip, in mm; proposals have "words",
    those that are taken "visible_mm", how much of them is seen.

    Args:
        piece: as computed, with the cuts that are taken.
        info: its body's directions.
        body: the body, mended.
        refused: paths near which none is proposed.
    """
    cover = piece.cover
    region, flat, own = piece.region, piece.flat, tuple[FloatArray, ...]()
    if cover.reliefs:
        parts = part_regions(replace(cover, reliefs=()), piece.panel, body)
        mine = max(piece.part - 1, 0)
        own = tuple(path for path in cover.reliefs if nearest_part(parts, path) == mine)
    if own:
        region = parts[mine]
        flat = flatten(region.mesh, flat.film, finger_aversion=flat.finger_aversion)
    found = propose_reliefs(
        region,
        flat,
        kept=own,
        refused=refused,
        most=max(MOST_RELIEFS, len(own)),
        up=info.up,
        forward=info.forward,
        body=body,
    )
    return {
        "taken": [
            {
                **path_json(piece.flat, path),
                "visible_mm": round(
                    seen_length_mm(region, path, up=info.up, forward=info.forward, body=body), 1
                ),
            }
            for path in own
        ],
        "proposals": [
            {**path_json(piece.flat, relief.path_mm), "words": " ".join(relief.reasons)}
            for relief in found.proposals
        ],
        "sentences": list(found.sentences),
    }


def path_json(flat: Flat, path_mm: FloatArray) -> dict[str, Any]:
    """A path on the surface, there and in the flat."""
    return {"path": _listed(path_mm), "flat": _listed(to_flat(flat, path_mm))}


def _listed(points: FloatArray) -> Sequence[Any]:
    listed: Sequence[Any] = np.asarray(points).round(_DECIMALS).tolist()
    return listed
