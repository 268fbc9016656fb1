"""Minutes, prices, the week's film and what to buy."""

from layflat.plan.chance import Chance, Size, Storing, chance_of_use, offcut_worth
from layflat.plan.minutes import (
    ASSUMED,
    Minutes,
    Pace,
    PieceWork,
    Step,
    StepMinutes,
    estimate_minutes,
)
from layflat.plan.price import Price, PriceLine, film_metres, metres_of, price
from layflat.plan.rates import ROUNDING, Rates, as_decimal, to_money
from layflat.plan.reorder import Reorder, Usual, reorder, usual_of
from layflat.plan.week import plan_week
from layflat.plan.week_by_job import WeekByJob, plan_week_by_job, shares_sections
from layflat.plan.week_records import (
    Demand,
    FilmKind,
    KeptOffcut,
    Supply,
    Use,
    WeekPlan,
    WeekRates,
)

__all__ = [
    "ASSUMED",
    "ROUNDING",
    "Chance",
    "Demand",
    "FilmKind",
    "KeptOffcut",
    "Minutes",
    "Pace",
    "PieceWork",
    "Price",
    "PriceLine",
    "Rates",
    "Reorder",
    "Size",
    "Step",
    "StepMinutes",
    "Storing",
    "Supply",
    "Use",
    "Usual",
    "WeekByJob",
    "WeekPlan",
    "WeekRates",
    "as_decimal",
    "chance_of_use",
    "estimate_minutes",
    "film_metres",
    "metres_of",
    "offcut_worth",
    "plan_week",
    "plan_week_by_job",
    "price",
    "reorder",
    "shares_sections",
    "to_money",
    "usual_of",
]
