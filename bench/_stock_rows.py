"""A shop's film of ten years: rolls, movements, and each job's pieces cut and laid."""

import datetime
import random
from collections.abc import Iterator
from typing import Any

ROLLS, ROLLS_A_LOT, MOVEMENTS = 2_000, 4, 50_000
_BATCH, _IN_STOCK = 5_000, 40


def seed_stock() -> None:
    """Rolls by lots, and for each job that has a computed cover a layout with all of its pieces."""
    from django.db import transaction
    from django.utils import timezone

    from layflat.web.cover.models import Outcome, Piece
    from layflat.web.cutting.models import Cut, Layout, Section
    from layflat.web.laying.models import Laying
    from layflat.web.people.models import Person
    from layflat.web.stock.models import Movement, Reservation, Roll

    dice, now = random.Random(5), timezone.now()
    people = list(Person.objects.all())
    with transaction.atomic():
        rolls = _insert(
            Roll,
            (
                Roll(
                    number=1 + i,
                    film="Clear 150",
                    lot=f"LW-{i // ROLLS_A_LOT:04d}",
                    width_mm=dice.choice([610, 762, 1524]),
                    left_mm=9_000 if i >= ROLLS - _IN_STOCK else 0,
                    is_finished=i < ROLLS - _IN_STOCK,
                    place=f"rack {i % 7}",
                    received_on=now.date() - datetime.timedelta(days=ROLLS - i),
                )
                for i in range(ROLLS)
            ),
        )
        outcomes = list(Outcome.objects.select_related("cover__job").order_by("pk"))
        layouts = _insert(
            Layout,
            (
                Layout(
                    job=outcome.cover.job,
                    number=1,
                    outcome=outcome,
                    roll=rolls[i * ROLLS // len(outcomes)],
                    pieces=[],
                    state=Layout.State.CUT,
                )
                for i, outcome in enumerate(outcomes)
            ),
        )
        sections = _insert(
            Section,
            (
                Section(
                    layout=layout,
                    number=1,
                    start_mm=0.0,
                    end_mm=3000.0,
                    film_mm=3000,
                    state=Section.State.CUT,
                    cut_at=now,
                )
                for layout in layouts
            ),
        )
        of_outcome = {
            layout.outcome_id: section for layout, section in zip(layouts, sections, strict=True)
        }
        cuts = _insert(
            Cut,
            (
                Cut(
                    section=of_outcome[piece.outcome_id],
                    piece=piece,
                    number=piece.number,
                    state=Cut.State.LAID,
                )
                for piece in Piece.objects.order_by("pk")
                if piece.outcome_id in of_outcome
            ),
        )
        layings = _insert(Laying, (Laying(cut=cut, began_at=now, ended_at=now) for cut in cuts))
        of_people = Laying.people.through
        _insert(
            of_people,
            (of_people(laying=laying, person=dice.choice(people)) for laying in layings),
        )
        _insert(
            Movement,
            (
                Movement(
                    roll=rolls[i % ROLLS],
                    delta_mm=15_000 if i < ROLLS else -100,
                    kind=Movement.Kind.RECEIVED if i < ROLLS else Movement.Kind.CUT,
                    job=None if i < ROLLS else outcomes[i % len(outcomes)].cover.job,
                    source="" if i < ROLLS else f"section {i}",
                    who=people[0],
                )
                for i in range(MOVEMENTS)
            ),
        )
        _insert(
            Reservation,
            (
                Reservation(roll=roll, job=outcomes[-n].cover.job, length_mm=1_000)
                for roll in rolls[-_IN_STOCK:]
                for n in (1, 2, 3)
            ),
        )


def _insert(model: Any, rows: Iterator[Any]) -> list[Any]:
    return list(model.objects.bulk_create(rows, batch_size=_BATCH))
