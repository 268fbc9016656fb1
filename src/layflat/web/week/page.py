"""What the pages of the week's film show."""

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from layflat.plan import FilmKind, WeekRates
from layflat.web.cutting.drawn import Drawn, drawn
from layflat.web.files.store import path_of
from layflat.web.jobs.models import Job
from layflat.web.people.models import Shop
from layflat.web.stock.amounts import film_length
from layflat.web.week.asking import MOST_JOBS, SECONDS
from layflat.web.week.models import Plan
from layflat.web.week.there import films_of, stock_there
from layflat.web.week.wanted import Wanted, wanted_jobs
from layflat.web.work.models import State

KINDS: Final = {
    FilmKind.CLEAR: "Clear; lots may be mixed",
    FilmKind.MATT: "Matt; one lot and one direction for each job",
    FilmKind.TINTED: "Tinted; one lot and one direction for each job",
    FilmKind.COLOURED: "Coloured; one lot and one direction for each job",
}
_SHOWN: Final = 10
_STANDINGS: Final = {
    State.OPEN: ("waiting", "waits for a free worker"),
    State.RUNNING: ("waiting", "being planned"),
    State.DONE: ("today", "found, not kept yet"),
    State.FAILED: ("late", "the search ended"),
    State.STOPPED: ("today", "stopped, not kept yet"),
}


@dataclass(frozen=True, kw_only=True)
class PlanRow:
    """A plan in the list.

    Attributes:
        shape, word: of its state.
        jobs: their numbers, in words.
    """

    plan: Plan
    shape: str
    word: str
    jobs: str


@dataclass(frozen=True, kw_only=True)
class UsePart:
    """What one job has of a roll or an offcut in sections of the same jobs.

    Attributes:
        letter: of the job on the plan's pictures.
        number: of the job.
        pieces: their numbers.
        shared: numbers of the jobs that share these sections, or "".
    """

    letter: str
    number: str
    pieces: Sequence[int]
    shared: str


@dataclass(frozen=True, kw_only=True)
class UseRow:
    """What comes from one roll or offcut.

    Attributes:
        use: its row of the plan, see `layflat.web.week.told`.
        picture: of its pieces.
        parts: whose they are.
        offered: what offers would charge for its film, or None.
    """

    use: Mapping[str, Any]
    picture: Drawn
    parts: Sequence[UsePart]
    offered: float | None

    @property
    def used_mm(self) -> int:
        """Whole millimetres, rounded up."""
        return math.ceil(float(self.use["length_mm"]))

    @property
    def left_mm(self) -> int:
        """What remains of it in one length."""
        return math.floor(float(self.use["account"]["left_mm"]))

    @property
    def per_cent(self) -> int:
        """Of its film that lies in pieces."""
        return round(100 * float(self.use["yield"]))


def week_context(shop: Shop) -> dict[str, Any]:
    """What the page of the week shows."""
    wanted = wanted_jobs(shop)
    ticked = _first(wanted)
    there = stock_there()
    films = films_of(there)
    plans = Plan.objects.select_related("computation").defer(
        "found", "computation__inputs", "computation__result"
    )
    return {
        "part": "stock",
        "wanted": wanted,
        "ticked": ticked,
        # Least film for a start; of one job alone there is nothing to share.
        "shares": len(ticked) > 1,
        "most_jobs": MOST_JOBS,
        "films": films,
        "there": there,
        "offcuts": sum(one.is_offcut for one in there),
        "kinds": [(kind.value, words) for kind, words in KINDS.items()],
        "seconds": SECONDS,
        "plans": [_plan_row(plan) for plan in plans[:_SHOWN]],
    }


def _first(wanted: Sequence[Wanted]) -> set[int]:
    """Keys of the jobs that are ticked for a start: as many as a plan takes, needed first."""
    return {one.job.pk for one in [one for one in wanted if not one.is_old][:MOST_JOBS]}


def plan_context(plan: Plan, shop: Shop, *, sees_costs: bool) -> dict[str, Any]:
    """What the page of a plan shows.

    Args:
        plan: with its computation and shapes.
        shop: whose rates and units count.
        sees_costs: whether what film costs the shop may be seen: for the owner.
    """
    jobs = {
        job.pk: job
        for job in Job.objects.filter(
            pk__in=[row["job"] for row in plan.asked["jobs"]]
        ).select_related("vehicle__customer", "vehicle__body__body")
    }
    row = _plan_row(plan)
    made = plan.computation
    context: dict[str, Any] = {
        "part": "stock",
        "plan": plan,
        "standing": row,
        "jobs": [
            (one["letter"], jobs[one["job"]], len(one["pieces"])) for one in plan.asked["jobs"]
        ],
        "sees_costs": sees_costs and bool(plan.asked["cost_source"]),
        "currency": plan.asked["currency"],
        "is_live": plan.state == Plan.State.OPEN and made is not None and not made.is_over,
        "error": made.error if made is not None and plan.state == Plan.State.OPEN else "",
        "assumed": list(_assumed(plan.asked, sees_costs=sees_costs)),
        "found": plan.found,
    }
    if plan.found is None:
        return context
    shapes = _shapes(plan)
    numbers = {one["job"]: one["number"] for one in plan.asked["jobs"]}
    context["uses"] = [
        UseRow(
            use=use,
            picture=drawn(use["picture"], shapes),
            parts=list(_parts(use, numbers)),
            offered=_offered(use, shop),
        )
        for use in plan.found["uses"]
    ]
    context["answer"] = _answer(plan, context["uses"], shop)
    context["film_mm"] = sum(use.used_mm for use in context["uses"])
    context["shared"] = any(part.shared for use in context["uses"] for part in use.parts)
    offered = [use.offered for use in context["uses"] if use.offered is not None]
    context["offered"] = sum(offered) if offered else None
    alone, cost = plan.found["alone"], plan.found["cost"]
    context["saved"] = None if alone is None else max(0.0, alone - cost)
    context["saved_percent"] = None if not alone else round(100 * max(0.0, alone - cost) / alone)
    context["above_percent"] = _above(cost, plan.found["bound"])
    together = plan.found["together"]
    context["together"] = together if together is not None and together < cost - 0.005 else None
    beside = _beside(plan.found)
    context["beside"] = beside
    context["cuts_and_handling"] = beside["cuts"] + beside["handling"]
    return context


def _parts(use: Mapping[str, Any], numbers: Mapping[int, str]) -> Iterator[UsePart]:
    for part in use["parts"]:
        # Parts of old plans are of one job each.
        members = part.get("members", [part])
        for one in members:
            others = [numbers[other["job"]] for other in members if other is not one]
            yield UsePart(
                letter=one["letter"],
                number=numbers[one["job"]],
                pieces=one["pieces"],
                shared=" and ".join(others),
            )


def _beside(found: Mapping[str, Any]) -> dict[str, float]:
    """The parts of the cost beside film, summed up."""
    return {
        name: sum(use[name] for use in found["uses"])
        for name in ("cuts", "handling", "age", "offcuts")
    }


def _above(cost: float, bound: float) -> int | None:
    return round(100 * (cost - bound) / bound) if bound > 0 else None


def _plan_row(plan: Plan) -> PlanRow:
    if plan.state == Plan.State.KEPT:
        shape, word = "done", "kept"
    elif plan.state == Plan.State.DROPPED:
        shape, word = "none", "not used"
    else:
        made = plan.computation
        shape, word = _STANDINGS[State(made.state) if made is not None else State.FAILED]
    jobs = ", ".join(row["number"] for row in plan.asked["jobs"])
    return PlanRow(plan=plan, shape=shape, word=word, jobs=jobs)


def _shapes(plan: Plan) -> Mapping[str, Any]:
    if plan.shapes is None:
        return {}
    try:
        found: Mapping[str, Any] = json.loads(path_of(plan.shapes.sha256).read_bytes())["pieces"]
    except (OSError, ValueError, KeyError):
        # A picture less; the plan itself is in the database.
        return {}
    return found


def _offered(use: Mapping[str, Any], shop: Shop) -> float | None:
    """What offers would charge for a use's film; None where the shop has set no price."""
    if not shop.film_per_metre:
        return None
    per_m2 = float(shop.film_per_metre) / (shop.roll_width_mm / 1e3)
    return float(use["length_mm"] * use["width_mm"]) / 1e6 * per_m2


def _answer(plan: Plan, uses: Sequence[UseRow], shop: Shop) -> str:
    """How much film from what, within a sentence: "6.210 m of film from R7 and the offcut R3"."""
    names = [f"the offcut {use.use['name']}" for use in uses if use.use["is_offcut"]]
    names += [str(use.use["name"]) for use in uses if not use.use["is_offcut"]]
    listed = " and ".join([*([", ".join(names[:-1])] if names[:-1] else []), names[-1]])
    length = film_length(sum(use.used_mm for use in uses), shop)
    return f"{length} of {plan.asked['film']} from {listed}"


def _assumed(asked: Mapping[str, Any], *, sees_costs: bool) -> Iterator[str]:
    """What the plan rests on that nobody measured, in sentences."""
    rates = WeekRates()
    yield f"The film is taken to be {asked['kind']}, as was said."
    for row in asked["jobs"]:
        if lot := row.get("lot"):
            yield (
                f"Job {row['number']} has pieces of lot {lot}; the others are of it too, if there "
                "is enough of it."
            )
    yield "Film that other jobs have reserved is left to them."
    yield (
        f"A section takes {rates.cut_minutes:g} min beside its cutting, a roll or an offcut "
        f"{rates.handling_minutes:g} min to be put on the plotter."
    )
    yield f"Film that is a year old counts {100 * rates.age_per_year:g} % less, so it goes first."
    yield (
        f"An offcut is kept if it is likely used within {rates.storing.jobs_ahead} jobs, and "
        f"storing it takes {rates.storing.minutes:g} min; it counts at most "
        f"{100 * rates.storing.most_worth:g} % of its film."
    )
    past = len(asked["past"])
    if past:
        yield (
            f"How likely that is, is learned from {past} layout{'' if past == 1 else 's'} that "
            "were cut from this film."
        )
    else:
        yield "No layout of this film is known yet from which the use of offcuts could be learned."
    if asked["left_out"]:
        yield f"{asked['left_out']} more rolls or offcuts, the youngest, were not looked at."
    unpriced = [row["name"] for row in asked["stock"] if not row["is_own_cost"]]
    if not asked["cost_source"]:
        yield (
            "Nobody wrote down what film cost, and the shop has no price of it: only film is "
            "counted, by its area. Write the cost on the rolls' pages."
        )
    elif unpriced:
        yield (
            f"Nobody wrote down what {', '.join(unpriced)} cost; by the square metre it counts as "
            f"{asked['cost_source']}."
        )
    if sees_costs and asked["cost_source"] and not asked["per_hour"]:
        yield "The shop has no cost of an hour: cutting, handling and storing count nothing."
