"""A plan of the week as it stands once it is found, written directly, for other tests."""

from layflat.web.cover.models import Outcome
from layflat.web.jobs.models import Job
from layflat.web.stock.models import Roll
from layflat.web.week.models import Plan


def a_plan(job: Job, outcome: Outcome, roll: Roll) -> Plan:
    """One job's pieces on one roll, side by side, in a section of two metres."""
    numbers = [piece.number for piece in outcome.pieces.all()]
    use = {
        "roll": roll.pk,
        "name": str(roll),
        "lot": roll.lot,
        "is_offcut": False,
        "width_mm": roll.width_mm,
        "length_mm": 2000.0,
        "account": {"in_mm": 15_000.0, "left_mm": 13_000.0},
        "film": 124.0,
        "cuts": 3.0,
        "handling": 8.0,
        "age": 0.0,
        "offcuts": 20.0,
        "cost": 115.0,
        "yield": 0.7,
        "kept": [
            {
                "length_mm": 900.0,
                "width_mm": 420.0,
                "worth": 20.0,
                "chance": 0.8,
                "fitting": 3,
                "jobs": 4,
            }
        ],
        "thrown": 1,
        "picture": {
            "stock": {"width_mm": float(roll.width_mm), "edge_margin_mm": 20.0},
            "placements": [],
            "sections": [[0.0, 2000.0]],
            "length_mm": 2000.0,
        },
        "parts": [{"job": job.pk, "letter": "A", "pieces": numbers, "layout": None}],
    }
    return Plan.objects.create(
        number=1,
        asked={
            "film": roll.film,
            "kind": "clear",
            "shares": False,
            "jobs": [
                {
                    "job": job.pk,
                    "number": job.number,
                    "letter": "A",
                    "outcome": outcome.pk,
                    "pieces": {str(number): "0" * 64 for number in numbers},
                    "lay": {},
                }
            ],
            "stock": [
                {
                    "roll": roll.pk,
                    "name": str(roll),
                    "version": roll.version,
                    "is_own_cost": False,
                    "faults": [],
                }
            ],
            "left_out": 0,
            "cost_source": "what the shop's settings say it pays",
            "per_hour": 20.0,
            "currency": "EUR",
            "past": [],
        },
        computation=outcome.computation,
        found={
            "uses": [use],
            "cost": 115.0,
            "film": 124.0,
            "bound": 101.0,
            "alone": 131.0,
            "together": 110.0,
            "length_mm": 2000.0,
            "notes": [],
        },
    )
