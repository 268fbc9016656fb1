"""What is said of a piece to whoever lays it: the worst of each edge once, the rest counted."""

import json
from typing import Any

from layflat.film import flatten, generic_film, stretch_summary
from layflat.job import Piece
from layflat.job.order import Cover
from layflat.pattern import EdgeFinish, Finish, from_flat
from layflat.surface import Panel, whole_region
from layflat.web.cover.advice import advice_for, is_left_to_map
from web.bodies.conftest import dome


def piece() -> Piece:
    region = whole_region(dome(count=13))
    flat = flatten(region.mesh, generic_film())
    return Piece(
        cover=Cover(panel="dome"),
        panel=Panel("dome", ()),
        region=region,
        flat=flat,
        summary=stretch_summary(flat),
        keep_outs=(),
        pattern=from_flat(
            flat, region, name="dome", finishes=lambda _: EdgeFinish(Finish.FLUSH)
        ).pattern,
        notes=(),
    )


def place(where: str, value: float, *, kind: str = "compression") -> dict[str, Any]:
    return {
        "kind": kind,
        "face": 0,
        "value": value,
        "is_beyond": True,
        "where": where,
        "sentence": f"{kind} {value} {where}",
    }


def advice(*places: dict[str, Any]) -> list[str]:
    return list(advice_for(piece(), json.dumps({"places": places}).encode()))


def test_the_worst_place_by_an_edge_speaks_for_the_others_there() -> None:
    said = advice(
        place("by the edge", 0.05), place("by the edge", 0.04), place("away from the edges", 0.03)
    )
    assert said[:3] == [
        "compression 0.05 by the edge",
        "compression 0.03 away from the edges",
        "1 more such place is marked on the piece's map.",
    ]


def test_stretch_and_compression_by_one_edge_are_both_said() -> None:
    said = advice(place("by the edge", 0.05), place("by the edge", 0.2, kind="stretch"))
    assert said[:2] == ["compression 0.05 by the edge", "stretch 0.2 by the edge"]
    assert not any("more such" in sentence for sentence in said)


def test_at_most_four_places_are_said() -> None:
    said = advice(*(place(f"by the edge {k}", 0.05) for k in range(7)))
    assert said[4] == "3 more such places are marked on the piece's map."


def test_only_the_count_of_places_is_left_to_the_map() -> None:
    for places in (7, 5):
        said = advice(*(place(f"by the edge {k}", 0.05) for k in range(places)))
        assert [is_left_to_map(sentence) for sentence in said[:5]] == [*[False] * 4, True]
        assert not any(is_left_to_map(sentence) for sentence in said[5:])
