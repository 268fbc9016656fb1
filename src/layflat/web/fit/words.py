"""The fit of pieces in words and shapes."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from layflat.papers import Effort, panel_title
from layflat.pattern import STRAIN_UNKNOWN
from layflat.web.cover.models import Piece

EFFORTS: Final[Mapping[str, tuple[str, str]]] = {
    Effort.UNKNOWN: (Effort.UNKNOWN.word, f"{STRAIN_UNKNOWN} Try it on waste film first."),
    Effort.EASY: (Effort.EASY.word, "No place is strained beyond what the film takes unnoticed."),
    Effort.CARE: (
        Effort.CARE.word,
        "In places the film is strained beyond what it takes unnoticed.",
    ),
    Effort.HARD: (
        Effort.HARD.word,
        (
            "The film is strained far beyond what it takes unnoticed: think of a relief cut or a "
            "second piece, and try it on waste film first."
        ),
    ),
}
"""For each effort a word and a sentence; its shape is drawn by the word's class."""
_HARDEST_FIRST: Final = {Effort.HARD: 0, Effort.UNKNOWN: 1, Effort.CARE: 2, Effort.EASY: 3}


@dataclass(frozen=True)
class PieceWords:
    """A piece as its card and its page say it.

    Attributes:
        piece: the row.
        word: its effort in a word.
        says: its effort in a sentence.
        stretch, compression: the greatest, in per cent with the limit that it is measured by;
            "unknown" for a piece from a kept pattern.
    """

    piece: Piece
    word: str
    says: str
    stretch: str
    compression: str


def in_words(piece: Piece) -> PieceWords:
    """A piece in words."""
    word, says = EFFORTS[piece.effort]
    return PieceWords(
        piece,
        word,
        says,
        _against(piece.stretch, piece.details.get("stretch_limit")),
        _against(piece.compression, piece.details.get("finger_limit")),
    )


def hardest_first(pieces: Iterable[Piece]) -> list[Piece]:
    """Pieces by their effort, then by how far beyond the film's limits they go."""
    return sorted(pieces, key=lambda piece: (_HARDEST_FIRST[Effort(piece.effort)], -_worst(piece)))


def _worst(piece: Piece) -> float:
    pairs = (
        (piece.stretch, piece.details.get("stretch_limit")),
        (piece.compression, piece.details.get("finger_limit")),
    )
    return max((value or 0.0) / limit if limit else 0.0 for value, limit in pairs)


def per_cent(fraction: float) -> str:
    """A fraction in per cent, to a tenth."""
    return f"{100 * fraction:.1f}\u00a0%"


def _against(value: float | None, limit: float | None) -> str:
    if value is None:
        return "unknown"
    if not limit:
        return per_cent(value)
    return f"{per_cent(value)}, limit {100 * limit:g}\u00a0%"


def edge_rows(details: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The edges of a piece as rows of a table: name, kind, how film ends there, how long it is.

    A wrap has what was made of it as well (see `layflat.web.cover.fit_details`).

    Args:
        details: a piece's; see `layflat.web.cover.models.Piece`.
    """
    wraps = {wrap["name"]: wrap for wrap in details.get("wraps", ())}
    return [
        {
            "wrap": wraps.get(edge["name"]) if edge["finish"] == "wrap" else None,
            "name": panel_title(edge["name"]) if edge.get("name") else "Unnamed",
            "kind": edge["kind"],
            "finish": edge["finish"],
            "distance_mm": edge.get("distance_mm") or 0.0,
            "length_mm": edge.get("length_mm"),
        }
        for edge in details.get("edges", ())
    ]


def blank_words(blank: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """A blank beside the pattern, with what to do in a sentence; None where it was not compared."""
    if blank is None:
        return None
    if blank["take"]:
        says = "A plain rectangle, trimmed on the car, will do here and costs less."
    elif blank["against"]:
        says = "Cut it fitted: a plain rectangle is no choice here."
    else:
        says = "Cut it fitted: a plain rectangle would cost more."
    return {**blank, "says": says}
