"""Minutes and prices: how long a job's steps take, and what it costs from film and rates."""

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
from layflat.plan.rates import ROUNDING, Rates, to_money

__all__ = [
    "ASSUMED",
    "ROUNDING",
    "Minutes",
    "Pace",
    "PieceWork",
    "Price",
    "PriceLine",
    "Rates",
    "Step",
    "StepMinutes",
    "estimate_minutes",
    "film_metres",
    "metres_of",
    "price",
    "to_money",
]
