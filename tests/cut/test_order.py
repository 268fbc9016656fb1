"""The knife-up tour against every possible one."""

import itertools

import numpy as np
import pytest

from cut.yardstick import yardstick_mm
from layflat.cut.order import Stop, best_starts, shortest_tour, travel_mm
from layflat.cut.tour import shortened

START, END = np.zeros(2), np.array([100.0, 0.0])


def random_stops(seed: int, pieces: int, holes: int, choices: int = 3) -> list[Stop]:
    rng = np.random.default_rng(seed)
    found = []
    for piece in range(pieces):
        centre = rng.uniform(0, 100, 2)
        for hole in range(holes + 1):
            entries = centre + rng.uniform(-12, 12, (choices, 2))
            found.append(Stop(piece, hole < holes, entries, entries + rng.uniform(-0.5, 0.5, 2)))
    return found


def exact(stops: list[Stop], before: tuple[tuple[int, int], ...] = ()) -> float:
    """The shortest of all tours that keep each piece together."""
    pieces = sorted({stop.piece for stop in stops})
    loops = {
        p: [
            [*holes, outline]
            for outline in [
                next(i for i, s in enumerate(stops) if s.piece == p and not s.is_cut_out)
            ]
            for holes in itertools.permutations(
                [i for i, s in enumerate(stops) if s.piece == p and s.is_cut_out]
            )
        ]
        for p in pieces
    }
    best = np.inf
    for order in itertools.permutations(pieces):
        if any(order.index(a) > order.index(b) for a, b in before):
            continue
        for inner in itertools.product(*(loops[p] for p in order)):
            tour = [loop for part in inner for loop in part]
            best = min(best, travel_mm(stops, best_starts(stops, tour, START, END), START, END))
    return best


@pytest.mark.parametrize("seed", range(6))
def test_within_a_few_per_cent_of_the_best(seed: int) -> None:
    stops = random_stops(seed, pieces=6, holes=0)
    visits = shortest_tour(stops, start_mm=START, end_mm=END)
    assert travel_mm(stops, visits, START, END) <= 1.05 * exact(stops)


def test_with_cut_outs_and_an_inner_piece() -> None:
    stops = random_stops(7, pieces=4, holes=2)
    before = ((3, 0),)
    visits = shortest_tour(stops, before=before, start_mm=START, end_mm=END)
    order = [stops[stop].piece for stop, _ in visits]
    assert order.index(3) < order.index(0)
    assert sorted(stop for stop, _ in visits) == list(range(len(stops)))
    for piece in range(4):
        kinds = [stops[stop].is_cut_out for stop, _ in visits if stops[stop].piece == piece]
        assert kinds == [True, True, False]
    assert travel_mm(stops, visits, START, END) <= 1.05 * exact(stops, before)


def test_the_best_starts_are_the_best_of_all() -> None:
    stops = random_stops(3, pieces=4, holes=0)
    order = [2, 0, 3, 1]
    every = min(
        travel_mm(stops, list(zip(order, picks, strict=True)), START, END)
        for picks in itertools.product(range(3), repeat=4)
    )
    assert travel_mm(stops, best_starts(stops, order, START, END), START, END) == pytest.approx(
        every
    )


def test_a_grid_of_many_pieces_is_near_its_bound() -> None:
    places = [(x, y) for x in range(0, 100, 10) for y in range(0, 60, 10)]
    stops = [
        Stop(i, is_cut_out=False, entries_mm=np.array([p], float), exits_mm=np.array([p], float))
        for i, p in enumerate(places)
    ]
    visits = shortest_tour(stops, start_mm=START, end_mm=np.array([90.0, 0.0]))
    # No tour over n places of a grid of pitch 10 is shorter than (n - 1) pitches.
    assert travel_mm(stops, visits, START, np.array([90.0, 0.0])) <= 1.08 * 59 * 10


def scattered(count: int, seed: int) -> list[Stop]:
    """Pieces with one line each, strewn over a roll, two places to start on either."""
    rng = np.random.default_rng(seed)
    middles = rng.uniform(0, 1000, (count, 1, 2))
    entries = middles + rng.uniform(-40, 40, (count, 2, 2))
    return [Stop(i, False, e, e + 1.0) for i, e in enumerate(entries)]


@pytest.mark.parametrize("seed", [1, 2])
def test_within_five_per_cent_of_the_tour_of_ortools(seed: int) -> None:
    # OR-Tools' routing: cheapest arc, then its local search until nothing gets shorter.
    stops = scattered(40, seed)
    end = np.array([1000.0, 0.0])
    visits = shortest_tour(stops, start_mm=START, end_mm=end)
    assert travel_mm(stops, visits, START, end) <= 1.05 * yardstick_mm(stops, START, end)


def test_order_is_kept_where_it_is_wanted() -> None:
    stops = scattered(30, 3)
    before = [(20, 4), (4, 11), (25, 2)]
    visits = shortest_tour(stops, before=before, start_mm=START, end_mm=END)
    order = [stop for stop, _ in visits]
    assert sorted(order) == list(range(30))
    assert all(order.index(a) < order.index(b) for a, b in before)


def test_a_place_is_moved_where_nothing_may_be_run_the_other_way() -> None:
    """On a line on which the way back is dear, one place at a time can be moved, none turned."""
    count = 4
    legs = np.full((count + 2, count + 2), 100.0)
    for i in range(count):
        legs[i, i + 1 : count] = np.arange(1, count - i)
        legs[count, i], legs[i, count + 1] = 1 + i, count - i
    legs[2, 0] = 50.0
    assert shortened(legs, [1, 2, 0, 3]) == [0, 1, 2, 3]


@pytest.mark.parametrize("pieces", [1, 12])
def test_cut_outs_of_a_piece_are_cut_one_beside_the_other(pieces: int) -> None:
    # In each piece openings in a row, told helter-skelter, and its outline behind them: nobody
    # goes there and back who goes along the row, so that the way is as long as all rows.
    stops = []
    for piece in range(pieces):
        for x in (50.0, 10.0, 80.0, 30.0, 70.0, 20.0, 60.0, 40.0, 90.0):
            place = np.array([[100.0 * piece + x, 0.0]])
            stops.append(Stop(piece, x < 90.0, place, place))
    end = np.array([100.0 * pieces, 0.0])
    visits = shortest_tour(stops, start_mm=START, end_mm=end)
    assert travel_mm(stops, visits, START, end) == pytest.approx(100.0 * pieces)


def test_starts_are_chosen_again_once_cut_outs_have_changed_places() -> None:
    stops = random_stops(9, pieces=2, holes=4)
    visits = shortest_tour(stops, start_mm=START, end_mm=END)
    assert travel_mm(stops, visits, START, END) == pytest.approx(exact(stops))
