"""The places of kept patterns that stay free of film, in words."""

from collections.abc import Iterable, Mapping
from typing import Any

from layflat.base import counted
from layflat.surface import KeepOutKind
from layflat.web.bodies.words import KEEP_OUT_WORDS
from layflat.web.shaping.models import EdgeWork

Free = dict[str, str]
"""`name` of a place, and `word`, why it stays free."""


def free_places(body: int) -> dict[tuple[str, int], list[Free]]:
    """By name and number of a kept revision the places that somebody named on it; one query.

    Args:
        body: its primary key.
    """
    works = EdgeWork.objects.filter(revision__kept__body=body)
    rows = works.values_list("revision__kept__name", "revision__number", "wishes")
    return {
        (name, number): [_free(place) for place in wishes.get("places", ())]
        for name, number, wishes in rows
    }


def _free(place: Mapping[str, Any]) -> Free:
    kind = KeepOutKind(place["kind"])
    return {"name": str(place["name"]) or kind.value, "word": KEEP_OUT_WORDS[kind]}


def with_unnamed(named: Iterable[Free], *, cut_outs: int) -> list[Free]:
    """The named places, and how many cut-outs of the pattern beside them have no name."""
    found = list(named)
    rest = cut_outs - len(found)
    if rest > 0:
        found.append({"name": counted(rest, "cut-out"), "word": "as in the pattern"})
    return found
