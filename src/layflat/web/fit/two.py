"""One piece against two on the page of a piece: asked for, waited for, taken or refused."""

import json
from typing import Any

from layflat.web.cover.choices import from_json
from layflat.web.cover.models import Cover, Piece
from layflat.web.cover.seamed import asked_seams
from layflat.web.fit.cuts import cut_rows
from layflat.web.people.models import Shop
from layflat.web.work.models import State


def two_context(cover: Cover, piece: Piece, *, shop: Shop) -> dict[str, Any]:
    """What the page of a piece shows of seams on its panel.

    Args:
        cover: as it is now.
        piece: as it was computed.
        shop: whose roll it is.
    """
    panel = piece.panel_name
    choice = from_json(cover.choices).of(panel)
    taken = () if choice is None else choice.seams
    refused = () if choice is None else choice.refused_seams
    asked = None if choice is None else asked_seams(cover, panel, shop=shop)
    is_done = asked is not None and asked.state == State.DONE
    found = (asked.result or {}) if asked is not None and is_done else {}
    options = found.get("options", [])
    if piece.panel != panel or piece.details.get("reliefs", {}).get("taken"):
        # The map is that of a part, or open along cuts: the lines would lie elsewhere on it.
        options = [{**option, "flat": []} for option in options]
    rows = cut_rows("S", taken=taken, refused=refused, proposed=options)
    # Two seams of a symmetric panel read alike; their paths do not.
    by_path = {json.dumps(option["path"]): option for option in options}
    return {
        "seams": [row for row in rows if row.is_taken],
        "ways": [(row, by_path[row.path]) for row in rows if not row.is_taken],
        "one_piece": found.get("whole"),
        "seam_sentences": found.get("sentences", ()),
        "refused_seams": len(refused),
        "comparing": None if is_done else asked,
        "may_compare": choice is not None and not taken and (asked is None or asked.is_over),
        "is_compared": is_done,
    }
