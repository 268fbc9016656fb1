"""What film does on one panel, in the customer's words."""

from collections.abc import Iterable, Sequence
from typing import Any, Final

from layflat.papers import panel_title
from layflat.web.cover.models import Piece
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_fine_length

MATTERS: Final = 0.01
"""Share of a piece beyond a limit from which on the customer is told: our own choice, no source."""
SEEN_MM: Final = 1.0
"""A cut of which more is seen is put before the customer: our own choice, no source."""
_WAYS: Final = ("wrap", "flush", "short")
_NAMED: Final = {
    "wrap": "Wrapped round the edge by {distance}: {names}.",
    "short": "Ends {distance} before the edge: {names}.",
    "flush": "Ends at the edge: {names}.",
}
_REST: Final = {
    "wrap": "Wrapped round {where} by {distance}.",
    "short": "Ends {distance} before {where}.",
    "flush": "Ends at {where}.",
}


def panel_words(pieces: Sequence[Piece], shop: Shop) -> dict[str, Any]:
    """One panel of an alternative, as its content holds it.

    Args:
        pieces: all that are laid on the panel.
        shop: writes lengths.
    """
    first = pieces[0]
    free = _once(item for piece in pieces for item in _free(piece))
    over = _once(item for piece in pieces for item in _film_over(piece))
    part = any(piece.is_part for piece in pieces)
    extent = "Up to the line that was agreed on the vehicle." if part else "The whole panel."
    if len(pieces) > 1:
        extent += f" In {len(pieces)} pieces; the seam between them shows close up."
    return {
        "panel": first.panel_name,
        "title": panel_title(first.panel_name),
        "extent": extent,
        "edges": _edges([edge for piece in pieces for edge in piece.details["edges"]], shop),
        "free": free,
        "film_over": over,
        "expect": _once(item for piece in pieces for item in _expect(piece)),
    }


def _edges(edges: Iterable[dict[str, Any]], shop: Shop) -> list[str]:
    """How film ends at the edges: what differs by name, and the rest in one sentence."""
    ways: dict[tuple[str, str], list[str]] = {}
    for edge in edges:
        finish = edge["finish"]
        if edge["kind"] == "inner" and finish == "flush":
            continue
        distance = shown_fine_length(edge["distance_mm"], shop) if finish != "flush" else ""
        name = edge["name"].replace("-", " ") or "one without a name"
        ways.setdefault((finish, distance), []).append(name)
    # The way of most edges goes without their names.
    *named, (rest, _) = sorted(
        ways.items(), key=lambda item: (len(item[1]), _WAYS.index(item[0][0]), item[0][1])
    ) or [(("", ""), [])]
    found = [
        _NAMED[finish].format(distance=distance, names=", ".join(sorted(set(names))))
        for (finish, distance), names in named
    ]
    if ways:
        where = "every other edge" if named else "every edge"
        found.append(_REST[rest[0]].format(distance=rest[1], where=where))
    return found


def _free(piece: Piece) -> list[str]:
    """What stays free of film, and why; of which the same is said, they stand together."""
    by_word: dict[str, list[str]] = {}
    for item in piece.details["free"]:
        by_word.setdefault(item["word"], []).append(capital(item["name"]))
    return [f"{' · '.join(names)}: {word}." for word, names in by_word.items()]


def _film_over(piece: Piece) -> list[str]:
    return [
        f"{capital(item['name'])}: {_sentence(item['reason'])}"
        for item in piece.details["film_over"]
    ]


def _expect(piece: Piece) -> list[str]:
    found = []
    taken = piece.details.get("reliefs", {}).get("taken", ())
    seen = sum(cut["visible_mm"] for cut in taken)
    if seen >= SEEN_MM:
        found.append(
            f"{'A short cut' if len(taken) == 1 else f'{len(taken)} short cuts'} in the film at "
            "its edge, so that it lies down here, will show close up in places. It is agreed with "
            "this offer and is no fault."
        )
    if piece.is_flat:
        found.append(
            "This piece is made from a flat template or a drawing, not from a scan: how it lies is "
            "seen when it is laid, and it may be adjusted then."
        )
    if (piece.over_stretch or 0.0) >= MATTERS:
        found.append(
            "The shape asks much of the film here: seen from the side, a slight haze may show."
        )
    if (piece.over_finger or 0.0) >= MATTERS and seen < SEEN_MM:
        found.append(
            "The curve is tight here: a short cut in the film at its edge may be needed, and shows "
            "close up. It is agreed with this offer and is no fault."
        )
    return found


def capital(words: str) -> str:
    """With a capital letter at the start."""
    return words[:1].upper() + words[1:]


def _sentence(words: str) -> str:
    words = " ".join(words.split())
    return words if words.endswith((".", "!", "?")) else f"{words}."


def _once(items: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(items))
