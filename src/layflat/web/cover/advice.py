"""What laying a piece asks for, in plain words for whoever lays it."""

import json
import re
from collections.abc import Iterator

from layflat.film import Flat
from layflat.job import Piece, laying_advice
from layflat.papers import summarise
from layflat.web.cover.sentences import without_places

_DEPTH = re.compile(r"\s\(\d+(?:\.\d+)?\s?mm\)")
_TWO_PEOPLE = "Two people."
_TWO_PEOPLE_WHY = "Two people: one pair of hands does not hold the piece at both ends."
_MOST_PLACES = 4
_WIDE_SHARE = 0.02
_LEFT_TO_MAP = re.compile(r"\d+ more such places? (is|are) marked on the piece's map\.")


def is_left_to_map(sentence: str) -> bool:
    """Whether advice only counts places that the map of its piece shows."""
    return _LEFT_TO_MAP.fullmatch(sentence) is not None


def advice_for(piece: Piece, flat_json: bytes) -> Iterator[str]:
    """Sentences on what to mind, the weightiest first.

    Args:
        piece: as computed.
        flat_json: its flat (see `layflat.web.cover.fit_files`), whose places are named.
    """
    places = json.loads(flat_json)["places"]
    beyond = [place for place in places if place["is_beyond"]]
    # Of several places by one edge the worst speaks for all; the map shows each.
    worst: dict[tuple[str, str], str] = {}
    for place in beyond:
        worst.setdefault((place["kind"], place["where"]), place["sentence"])
    said = list(worst.values())[:_MOST_PLACES]
    yield from said
    if len(beyond) > len(said):
        more = len(beyond) - len(said)
        places_are = "more such place is" if more == 1 else "more such places are"
        yield f"{more} {places_are} marked on the piece's map."
    yield from _wide(piece.flat)
    for sentence in laying_advice(piece):
        yield _TWO_PEOPLE_WHY if sentence == _TWO_PEOPLE else _DEPTH.sub("", sentence)
    for note in piece.notes:
        yield without_places(note)


def _wide(flat: Flat) -> Iterator[str]:
    """How much of the piece is beyond a limit, where that is more than a spot."""
    strain = summarise(flat)
    if strain.over_stretch > _WIDE_SHARE:
        yield (
            f"{_percent(strain.over_stretch)} of the piece is stretched beyond the film's limit: "
            "warm it as a whole before pulling."
        )
    if strain.over_finger > _WIDE_SHARE:
        yield (
            f"{_percent(strain.over_finger)} of the piece is compressed beyond the finger limit: "
            "work slowly with warmth from the middle outwards; a relief cut or a second piece may "
            "be needed."
        )


def _percent(share: float) -> str:
    return f"{100 * share:.0f}\u00a0%"
