"""Pieces that are kept patterns: what is known of them, and that their strain is not.

`details["kept"]` of such a piece reads ``{"revision": 2, "pattern": its SHA-256, "origin": one of
`layflat.web.patterns.models.Origin`, "from": the same in words, "exactness": {…}, "said":
[sentences]}``, as the revision says it.
"""

import json
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from layflat.base import InputError
from layflat.film import generic_film
from layflat.papers import Effort, PieceMap, pattern_map
from layflat.pattern import STRAIN_UNKNOWN, Finish, Pattern, bounds, pattern_area_mm2, sample
from layflat.web.cover.choices import Choices, PanelChoice
from layflat.web.patterns.keeping import kept_pattern
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.shaping.free import Free, free_places, with_unnamed

_OUTLINE_MM = 0.1
_UNKNOWN: Final = (
    "stretch",
    "compression",
    "stretch_99",
    "compression_99",
    "over_stretch",
    "over_finger",
)


def kept_patterns(choices: Choices) -> dict[str, Pattern]:
    """The patterns of the kept choices, by their panels.

    Raises:
        InputError: the file of one is missing or damaged.
    """
    return {
        choice.panel: kept_pattern(choice.kept.pattern)
        for choice in choices.panels
        if choice.kept is not None
    }


def kept_facts(choices: Choices, *, body: int) -> dict[str, dict[str, Any]]:
    """What the revisions of the kept choices say, by their panels, as a task is given it.

    Raises:
        InputError: the body has no such revision.
    """
    chosen = [choice for choice in choices.panels if choice.kept is not None]
    free = free_places(body) if chosen else {}
    return {choice.panel: _facts(choice, body, free) for choice in chosen}


def _facts(
    choice: PanelChoice, body: int, free: Mapping[tuple[str, int], list[Free]]
) -> dict[str, Any]:
    kept = choice.kept
    found = None
    if kept is not None:
        found = (
            KeptRevision.objects.select_related("kept")
            .filter(
                kept__body=body,
                kept__name=choice.panel,
                number=kept.revision,
                pattern__sha256=kept.pattern,
            )
            .first()
        )
    if found is None:
        raise InputError(
            f"The kept pattern “{choice.panel}” of this body is not there as it was chosen; choose "
            "it anew."
        )
    return {
        "title": found.kept.title,
        "revision": found.number,
        "pattern": found.pattern.sha256,
        "origin": found.origin,
        "from": Origin(found.origin).label,
        "exactness": found.exactness,
        "said": found.said,
        # Left out where there are none, so that covers without them are asked for as before.
        **({"free": named} if (named := free.get((choice.panel, found.number))) else {}),
    }


def kept_values(
    number: int, pattern: Pattern, facts: Mapping[str, Any], *, lay: int
) -> dict[str, Any]:
    """What the row of a piece says, its files apart.

    Args:
        number: on the layout.
        pattern: as it is cut.
        facts: of its revision; see `kept_facts`.
        lay: its place in the order of laying.
    """
    return {
        "number": number,
        "panel": pattern.name,
        "title": facts["title"],
        "is_part": False,
        "area_mm2": pattern_area_mm2(pattern),
        "covered": _covered(pattern, facts)[:400],
        "effort": Effort.UNKNOWN.value,
        **dict.fromkeys(_UNKNOWN),
        "details": _details(pattern, facts, lay=lay),
        "warnings": [STRAIN_UNKNOWN],
    }


def _covered(pattern: Pattern, facts: Mapping[str, Any]) -> str:
    words = f"as its kept pattern, revision {facts['revision']}, from {facts['from']}"
    wrapped = [
        record.name
        for record in pattern.edges
        if record.finish.finish is Finish.WRAP and record.name
    ]
    return f"{words}, wrapped round: {', '.join(wrapped)}" if wrapped else words


def _details(pattern: Pattern, facts: Mapping[str, Any], *, lay: int) -> dict[str, Any]:
    film = generic_film()
    return {
        "edges": [
            {
                "name": record.name,
                "kind": record.kind.value,
                "finish": record.finish.finish.value,
                "distance_mm": record.finish.distance_mm,
                "length_mm": round(record.flat_length_mm, 1),
            }
            for record in pattern.edges
        ],
        "free": with_unnamed(facts.get("free", ()), cut_outs=len(pattern.cut_outs)),
        "film_over": [],
        "panel": pattern.name,
        "stretch_limit": film.stretch_limit,
        "finger_limit": film.finger_limit,
        "lay": lay,
        "kept": {key: value for key, value in facts.items() if key not in ("title", "free")},
    }


def kept_files(pattern: Pattern) -> tuple[bytes, bytes]:
    """The flat's JSON, without triangles, and the map as SVG; see `layflat.web.cover.fit_files`."""
    drawn = pattern_map(pattern)
    return _flat(pattern, drawn), drawn.svg.encode()


def _flat(pattern: Pattern, drawn: PieceMap) -> bytes:
    content = {
        "unit": "mm",
        "points": [],
        "faces": [],
        "stretch": [],
        "compression": [],
        "direction": [],
        "outline": _listed(sample(pattern.outline, deviation_mm=_OUTLINE_MM)),
        "cut_outs": [_listed(sample(hole, deviation_mm=_OUTLINE_MM)) for hole in pattern.cut_outs],
        "box": _listed(bounds(pattern.outline)),
        "edges": [],
        "free": [],
        "places": [],
        "map": {
            "width_mm": drawn.width_mm,
            "height_mm": drawn.height_mm,
            "to_map": [round(value, 9) for value in drawn.to_map],
        },
    }
    return json.dumps(content, separators=(",", ":")).encode()


def _listed(values: Any) -> list[float]:
    rounded: list[float] = np.asarray(values, np.float64).round(2).reshape(-1).tolist()
    return rounded
