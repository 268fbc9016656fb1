"""The week's plan: against a brute-force second opinion, by hand, and as properties."""

from collections import Counter
from dataclasses import replace
from itertools import product
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import FitError, InputError, SettingError, StoppedError
from layflat.nest import Stock, Stretch, check_layout, place
from layflat.plan import FilmKind, Storing, WeekPlan, WeekRates, week, week_alone
from nest.pieces import stars
from plan.weeks import END, GAP, RATES, SECTION, bars, film, planned

NO_OFFCUTS = replace(RATES, storing=Storing(most_worth=0.0))


def require_whole(plan: WeekPlan, demands) -> None:
    """Every piece once, every layout sound, film that adds up, and no cost below the bound."""
    there: Counter[tuple[str, str]] = Counter()
    for use in plan.uses:
        check_layout(use.layout)
        assert use.layout.stock == use.supply.stock
        assert use.layout.length_mm <= use.supply.length_mm + 1e-6
        assert all(s.end_mm - s.start_mm <= SECTION + 1e-6 for s in use.layout.sections)
        there.update(zip(use.jobs, (p.pattern.name for p in use.layout.placements), strict=True))
        account = use.account
        parts = account.pieces_mm + account.waste_mm + account.offcuts_mm + account.left_mm
        assert parts == pytest.approx(use.supply.length_mm, rel=1e-4)
        assert account.in_mm == use.supply.length_mm
    wanted = Counter()
    for demand in demands:
        wanted[demand.job, demand.request.pattern.name] += demand.request.copies
    assert there == wanted
    assert plan.bound <= plan.cost + 1e-6 <= plan.alone + 2e-6


def brute_force(sizes, supplies, rates: WeekRates) -> float:
    """The least cost of all ways to share out bars that no two of which lie side by side.

    Bars follow each other the gap apart; what goes into a section is again tried in all ways.
    """
    best = float("inf")
    for shares in product(range(len(supplies)), repeat=len(sizes)):
        cost = 0.0
        for at, supply in enumerate(supplies):
            held = [size[0] for size, share in zip(sizes, shares, strict=True) if share == at]
            if not held:
                continue
            if any(
                size[1] > supply.stock.width_mm - 2 * supply.stock.edge_margin_mm
                for size, share in zip(sizes, shares, strict=True)
                if share == at
            ):
                cost = float("inf")
                break
            lengths = []
            for ways in product(range(len(held)), repeat=len(held)):
                sections = [
                    [one for one, way in zip(held, ways, strict=True) if way == which]
                    for which in sorted(set(ways))
                ]
                spans = [sum(s) + GAP * (len(s) - 1) + 2 * END for s in sections]
                if max(spans) <= SECTION and sum(spans) <= supply.length_mm:
                    lengths.append(sum(spans) / 1e3 * supply.cost_per_m + len(spans) * rates.cut)
            cost += min(lengths, default=float("inf")) + rates.handling
        best = min(best, cost)
    return best


@settings(deadline=None, derandomize=True, max_examples=6)
@given(
    sizes=st.lists(
        st.tuples(st.sampled_from([500.0, 800.0, 1300.0]), st.sampled_from([310.0, 560.0])),
        min_size=1,
        max_size=4,
    ),
    lengths=st.tuples(st.sampled_from([1000.0, 2400.0]), st.just(6000.0)),
    cost=st.sampled_from([20.0, 30.0]),
)
def test_a_tiny_week_is_as_cheap_as_the_best_of_all_ways(sizes, lengths, cost) -> None:
    """Bars of more than half of either roll: estimates are exact, and so is the assignment."""
    supplies = [film("narrow", 400, lengths[0], cost=cost), film("wide", 600, lengths[1], cost=45)]
    demands = bars("K-1", *sizes)
    plan = planned(demands, supplies, rates=NO_OFFCUTS)
    best = brute_force(sizes, supplies, NO_OFFCUTS)
    require_whole(replace(plan, alone=max(plan.alone, plan.cost)), demands)
    assert plan.cost == pytest.approx(best, rel=0.002)
    assert plan.bound <= best + 1e-6


@settings(deadline=None, derandomize=True, max_examples=6)
@given(
    shapes=st.lists(stars(), min_size=2, max_size=6),
    crease=st.floats(0, 400),
    kind=st.sampled_from(list(FilmKind)),
)
def test_every_piece_once_and_film_that_adds_up(shapes, crease, kind) -> None:
    fault = Stretch(start_mm=crease, end_mm=crease + 9, reason="crease")
    supplies = [
        film("R1", 400, 9000, kind=kind, faults=(fault,)),
        film("R2", 300, 9000, cost=35, kind=kind, lot="B2"),
        film("O1", 350, 500, cost=40, kind=kind, is_offcut=True),
    ]
    demands = [
        replace(one, request=replace(one.request, pattern=shape))
        for i, shape in enumerate(shapes)
        for one in bars(f"K-{i % 2}", (1, 1), turns=(0.0, 180.0))
    ]
    plan = planned(demands, supplies, seconds=0.2)
    require_whole(plan, demands)
    if kind.one_lot:
        for job in ("K-0", "K-1"):
            turns = {
                placement.turn_deg
                for use in plan.uses
                for owner, placement in zip(use.jobs, use.layout.placements, strict=True)
                if owner == job
            }
            assert len(turns) == 1
            assert len(plan.lots_of(job)["gloss"]) == 1


def test_two_jobs_share_the_width_that_neither_fills() -> None:
    """Each job's bar leaves half the roll bare; side by side they take the film of one."""
    demands = [*bars("K-1", (1500, 260)), *bars("K-2", (1500, 260))]
    plan = planned(demands, [film("R1", 600, 9000)], rates=NO_OFFCUTS)
    require_whole(plan, demands)
    assert plan.film == pytest.approx(1.510 * 50)
    # 2 x 1.510 m, two sections and one roll taken in hand, by itself.
    assert plan.alone == pytest.approx(2 * 1.510 * 50 + 2 * 3 + 8)
    assert plan.cost == pytest.approx(1.510 * 50 + 3 + 8)
    assert plan.lots_of("K-1") == {"gloss": ("A1",)}


def test_the_bound_is_near_where_one_bar_fills_the_width() -> None:
    """0.910 m at 50, a section and a roll in hand: only the round corners of the gap are open."""
    plan = planned(bars("K-1", (900, 560)), [film("R1", 600, 9000)], rates=NO_OFFCUTS)
    assert plan.cost == pytest.approx(0.910 * 50 + 3 + 8)
    assert 0.995 * plan.cost <= plan.bound <= plan.cost


def test_an_offcut_is_taken_before_a_roll() -> None:
    demands = bars("K-1", (500, 300))
    supplies = [film("R1", 600, 9000), film("O1", 400, 600, cost=40, is_offcut=True)]
    plan = planned(demands, supplies)
    assert [use.supply.name for use in plan.uses] == ["O1"]
    assert plan.cost < plan.alone


def test_what_an_offcut_leaves_counts_for_no_more_than_it_did() -> None:
    # The two rests beside the piece would each serve once, as the whole would.
    free = replace(RATES, per_hour=0.0)
    (use,) = planned(
        bars("a", (300.0, 300.0)),
        [film("offcut", 1000, 2500, is_offcut=True)],
        rates=free,
        past={"gloss": [[(250.0, 250.0)]] * 12},
    ).uses
    assert len(use.kept) > 1
    assert sum(one.worth for one in use.kept) == pytest.approx(use.offcuts)
    assert use.offcuts == pytest.approx(use.film)
    assert use.cost == pytest.approx(0.0, abs=1e-9)


_SIDE = st.floats(100.0, 900.0)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(
    sizes=st.lists(st.tuples(_SIDE, _SIDE), min_size=1, max_size=3),
    offcuts=st.lists(st.tuples(st.floats(400, 1500), st.floats(500, 4000)), max_size=2),
    past=st.lists(st.lists(st.tuples(_SIDE, _SIDE), max_size=2), max_size=12),
    per_hour=st.sampled_from([0.0, 60.0]),
    most_worth=st.sampled_from([0.5, 1.0]),
    minutes=st.sampled_from([0.0, 6.0]),
    age=st.sampled_from([0.0, 8000.0]),
)
def test_no_plan_costs_less_than_the_bound_or_than_nothing(
    sizes, offcuts, past, per_hour, most_worth, minutes, age
) -> None:
    demands = [one for i, size in enumerate(sizes) for one in bars(f"job {i % 2}", size)]
    supplies = [film("roll", 1520, 10_000, age=age)]
    supplies += [film(f"offcut {i}", *one, is_offcut=True) for i, one in enumerate(offcuts)]
    rates = replace(
        RATES,
        per_hour=per_hour,
        age_per_year=0.5,
        storing=Storing(most_worth=most_worth, minutes=minutes),
    )
    plan = planned(demands, supplies, rates=rates, past={"gloss": past}, seconds=0.05)
    require_whole(plan, demands)
    assert 0.0 <= plan.bound <= plan.cost + 1e-6
    assert all(use.cost >= -1e-9 for use in plan.uses)


def test_of_two_rolls_the_older_goes_first() -> None:
    supplies = [film("new", 600, 9000), film("old", 600, 9000, age=400)]
    plan = planned(bars("K-1", (900, 500)), supplies)
    assert [use.supply.name for use in plan.uses] == ["old"]
    assert plan.uses[0].age == pytest.approx(0.91 * 50 * 0.05 * 400 / 365)


def test_clear_film_mixes_lots_and_says_so_and_tinted_does_not() -> None:
    """Two short rolls of two lots and a dear long one: only clear film may come from the two."""
    sizes = ((900, 350), (900, 350))
    for kind, used in ((FilmKind.CLEAR, ["A", "B"]), (FilmKind.TINTED, ["C"])):
        supplies = [
            film("A", 400, 1000, kind=kind, lot="1"),
            film("B", 400, 1000, kind=kind, lot="2"),
            film("C", 400, 3000, cost=90, kind=kind, lot="3"),
        ]
        plan = planned(bars("K-1", *sizes), supplies)
        assert [use.supply.name for use in plan.uses] == used
        mixed = [note for note in plan.notes if "2 lots (1, 2); its passport says so" in note]
        assert bool(mixed) == (kind is FilmKind.CLEAR)
    hidden = [*bars("K-1", sizes[0]), *bars("K-1", sizes[1], visible=False)]
    assert len(planned(hidden, supplies).uses) == 2


def test_film_that_shows_its_lot_comes_from_the_lot_that_the_job_has() -> None:
    kind = FilmKind.TINTED
    near = film("near", 500, 1000, kind=kind, lot="A", cost=20)
    far = film("far", 500, 1000, kind=kind, lot="B", cost=50)
    wanted = [replace(one, lot="B") for one in bars("K-1", (600, 400), (300, 300))]
    free = bars("K-2", (600, 400))
    plan = planned([*wanted, *free], [near, far])
    assert (plan.lots_of("K-1"), plan.lots_of("K-2")) == ({"gloss": ("B",)}, {"gloss": ("A",)})
    assert plan.bound <= plan.cost <= plan.alone
    # Nobody sees of what lot hidden pieces are, nor which lots clear film has.
    hidden = [replace(one, visible=False) for one in wanted]
    assert planned(hidden, [near, far]).lots_of("K-1") == {"gloss": ("A",)}
    clear = [replace(one, kind=FilmKind.CLEAR) for one in (near, far)]
    assert planned(wanted, clear).lots_of("K-1") == {"gloss": ("A",)}
    with pytest.raises(FitError, match="wants film “gloss” of lot B, of which its job has pieces"):
        planned(wanted, [near])
    with pytest.raises(FitError, match="K-1 has pieces of lot B already"):
        planned(wanted, [near, replace(far, stock=replace(far.stock, length_mm=700.0))])


def test_a_roll_whose_fault_is_in_the_way_still_serves() -> None:
    fault = Stretch(start_mm=500, end_mm=520, reason="splice")
    plan = planned(bars("K-1", (900, 500)), [film("R1", 600, 3000, faults=(fault,))])
    (use,) = plan.uses
    assert use.layout.sections[0].start_mm == 520
    # The half metre before the splice is the only film left over, and large enough to keep.
    assert use.kept[0].offcut.length_mm == pytest.approx(500)


def test_a_plan_is_stopped_at_once_or_kept() -> None:
    demands = [*bars("K-1", (1500, 260)), *bars("K-2", (1500, 260))]
    seen: list[WeekPlan] = []

    def stop(step: str, fraction: float) -> None:
        if seen:
            raise StoppedError("enough")

    with pytest.raises(StoppedError):
        planned(demands, [film("R1", 600, 9000)], progress=stop, watch=seen.append)
    seen.clear()
    kept = planned(
        demands, [film("R1", 600, 9000)], progress=stop, watch=seen.append, keep_when_stopped=True
    )
    assert kept.notes[-1].startswith("The search was stopped")
    require_whole(kept, demands)


def test_a_search_that_finds_no_room_at_first_is_made_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    refused: list[Stock] = []
    short = film("R1", 600, 1700, cost=40)

    def search(requests, stock, **options):
        if stock == short.stock and not refused:
            refused.append(stock)
            raise FitError("the best layout that was found needs more")
        return place(requests, stock, **options)

    monkeypatch.setattr(week, "place", search)
    demands = [*bars("K-1", (1500, 260)), *bars("K-2", (1500, 260))]
    plan = planned(demands, [short, film("R2", 600, 9000)], rates=NO_OFFCUTS, seconds=1.0)
    require_whole(plan, demands)
    assert refused
    # Side by side on the cheaper one, which holds only one of the jobs by itself.
    assert [use.supply.name for use in plan.uses] == ["R1"]


def test_other_seeds_that_find_no_room_leave_the_plan_as_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    calls: list[int] = []

    def search(requests, stock, *, seed, **options):
        calls.append(seed)
        if seed != 1:
            raise FitError("the best layout that was found needs more")
        return place(requests, stock, seed=seed, **options)

    monkeypatch.setattr(week, "place", search)
    demands = [*bars("K-1", (1500, 260)), *bars("K-2", (1500, 260))]
    require_whole(planned(demands, [film("R1", 600, 9000)], seconds=1.0), demands)
    assert calls[-1] == 2


def test_what_a_search_leaves_of_its_time_is_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """Searches that take no time at all by a clock that stands still."""
    given: dict[str, list[tuple[str, float]]] = {"alone": [], "together": []}

    def quick(phase: str):
        def search(requests, stock, *, seconds, **options):
            given[phase].append((requests[0].pattern.name[:2], seconds))
            return place(requests, stock, seconds=0.1, **options)

        return search

    for module in (week, week_alone):
        monkeypatch.setattr(module, "time", SimpleNamespace(monotonic=lambda: 0.0))
    monkeypatch.setattr(week, "place", quick("together"))
    monkeypatch.setattr(week_alone, "place", quick("alone"))
    demands = [
        *bars("A1", (900, 300), called="matt", visible=False),
        *bars("B1", (900, 300)),
        *bars("C1", (900, 300)),
    ]
    supplies = [film("R1", 600, 9000), film("R2", 600, 9000, called="matt")]
    planned(demands, supplies, seconds=100.0)
    # Each of three jobs alone gets a third of the time that is left; then one film, the smaller
    # one first, a third of it and the other all the rest.
    alone = [seconds for _, seconds in given["alone"]]
    assert alone == pytest.approx([8 / 3, 4, 8])
    (smaller, third), (larger, rest) = given["together"][:2]
    assert (smaller, larger) == ("A1", "B1")
    assert (third, rest) == pytest.approx((76 / 3, 76))


ROLL = film("R1", 600, 9000)
BAD = {
    "an offcut twice": (bars("K-1", (100, 100)), [ROLL, ROLL], InputError, "“R1” is named twice"),
    "no film": (bars("K-1", (100, 100)), [], InputError, "There is no film"),
    "no pieces": ([], [ROLL], InputError, "no pieces"),
    "other film": (bars("K-1", (9, 9), called="matt"), [ROLL], FitError, "there is none of it"),
    "too wide": (bars("K-1", (100, 700)), [ROLL], FitError, "K-1 fits on nothing that there is"),
    "too little": (
        bars("K-1", *[(2900, 500)] * 4),
        [ROLL],
        FitError,
        r"there are 9.00 m, and the pieces take at least 10.\d\d m",
    ),
    "two looks": (
        bars("K-1", (100, 100)),
        [ROLL, film("R2", 600, 900, kind=FilmKind.MATT)],
        InputError,
        "clear on “R1” and matt on “R2”",
    ),
    "no common turn": (
        [*bars("K-1", (90, 90)), *bars("K-1", (90, 90), turns=(180.0,))],
        [film("R1", 600, 9000, kind=FilmKind.MATT)],
        InputError,
        "no turn that all of them allow",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_a_week_that_cannot_be_is_refused_in_a_sentence(case: str) -> None:
    demands, supplies, kind, sentence = BAD[case]
    with pytest.raises(kind, match=sentence):
        planned(demands, supplies)


def test_film_that_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="“R1” is -5 mm; it must be above 0"):
        film("R1", 600, -5)
    with pytest.raises(InputError, match="costs -1"):
        film("R1", 600, 5, cost=-1)
    with pytest.raises(SettingError, match="cut_minutes"):
        WeekRates(cut_minutes=-1)
