"""Stacks, slices and covers: the parts of the search that need no engine."""

import numpy as np
import pytest

from layflat.nest import Request
from layflat.nest.cover import best_cover, film_mm
from layflat.nest.pack import Spot, make_pack, sliced, without_surplus
from layflat.nest.parts import Frame, Part, make_parts
from layflat.nest.shelves import shelf_packs
from nest.pieces import rectangle

FRAME = Frame(usable_mm=100.0, longest_mm=250.0, gap_mm=10.0)


def parts_of(*sizes: tuple[float, float, int]) -> tuple[Part, ...]:
    return make_parts(
        [
            Request(pattern=rectangle(width, height), copies=copies, turns_deg=(0.0,))
            for width, height, copies in sizes
        ],
        FRAME,
    )


def row(*spots: tuple[Part, float]):
    return make_pack(Spot(part, 0.0, x, 0.0) for part, x in spots)


def test_stacks_fill_the_width_and_then_the_sections() -> None:
    """Nine squares of 45 mm, two a stack: a fifth stack would end at 265 mm, over 250."""
    packs = shelf_packs(parts_of((45, 45, 9)), FRAME)
    assert [len(pack.spots) for pack in packs] == [8, 1]
    assert [pack.length_mm for pack in packs] == [4 * 45 + 3 * 10, 45]
    corners = sorted((spot.x_mm, spot.y_mm) for spot in packs[0].spots)
    assert corners == [(x, y) for x in (0, 55, 110, 165) for y in (0, 55)]


def test_stacks_take_the_turn_that_saves_length() -> None:
    parts = make_parts([Request(pattern=rectangle(90, 20), copies=1, turns_deg=(0.0, 90.0))], FRAME)
    assert shelf_packs(parts, FRAME)[0].length_mm == pytest.approx(20)


def test_a_strip_is_cut_into_sections_between_pieces() -> None:
    (part,) = parts_of((100, 90, 4))
    packs = sliced(row((part, 0), (part, 110), (part, 220), (part, 330)), FRAME)
    assert [pack.length_mm for pack in packs] == [210, 210]
    assert [spot.x_mm for spot in packs[1].spots] == [0, 110]


def test_a_piece_that_straddles_the_cut_goes_whole_to_the_next_section() -> None:
    long, short = parts_of((200, 40, 1), (100, 40, 2))
    packs = sliced(row((short, 0), (long, 60), (short, 270)), FRAME)
    assert [[spot.part.index for spot in pack.spots] for pack in packs] == [[1], [0], [1]]


def test_the_cover_takes_the_least_film() -> None:
    """Two packs of three beat three of two, though a piece is held twice."""
    (part,) = parts_of((50, 90, 5))
    twos = [row((part, 0), (part, 60)), row((part, 0), (part, 60)), row((part, 0))]
    three = row((part, 0), (part, 60), (part, 120))
    chosen = best_cover([*twos, three], (5,), extra_mm=20, fallback=twos)
    assert sorted(len(pack.spots) for pack in chosen) == [2, 3]
    assert film_mm(chosen, extra_mm=20) == pytest.approx(170 + 20 + 110 + 20)


def test_the_cover_never_hands_back_more_film_than_the_fallback() -> None:
    (part,) = parts_of((50, 90, 2))
    fallback = [row((part, 0), (part, 60))]
    loose = row((part, 0), (part, 150))
    chosen = best_cover([loose], (2,), extra_mm=0, fallback=fallback)
    assert chosen == fallback


def test_surplus_goes_where_it_shortens_most() -> None:
    (part,) = parts_of((50, 90, 3))
    close = row((part, 0), (part, 60))
    wide = row((part, 0), (part, 180))
    left = without_surplus([close, wide], (3,))
    assert sorted(pack.length_mm for pack in left) == [50, 110]
    assert np.sum([pack.counts(1) for pack in left], axis=0).tolist() == [3]
