"""What a job's customer accepted, as those who carry it out ask for it."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.models import QuerySet

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome, accepted_pieces
from layflat.web.offer.accepting import accept
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.people.models import Shop
from web.bayed import an_accepted_job
from web.covered import a_cover, an_outcome

AtMost = Callable[[int], Any]


def test_a_yes_keeps_the_cover_that_it_is_for(
    made: Callable[..., Offer], job: Job, shop: Shop, django_assert_num_queries: AtMost
) -> None:
    offer = made()
    accept(job, seen=offer.sha256, alternative=2, name="Perrin Oake", shop=shop)
    outcome = job.covers.get(title="Nose and doors").outcomes.get()
    assert Acceptance.objects.get().outcome == outcome
    with django_assert_num_queries(1):
        assert accepted_outcome(job).cover.title == "Nose and doors"
    with django_assert_num_queries(1):
        found, pieces = accepted_pieces(job, "map")
        assert (found, found.cover.title) == (outcome, "Nose and doors")
        assert all(piece.map.sha256 for piece in pieces)
    assert pieces == list(outcome.pieces.all())


def test_the_newest_yes_counts(db: None) -> None:
    job, first = an_accepted_job()
    _an_older_row(Acceptance.objects.get())
    second = an_outcome(a_cover(job, "All of it", panels=("hood", "roof", "door-left")))
    offer = Offer.objects.get()
    content = {"alternatives": [{"outcome": second.pk}]}
    newer = Offer.objects.create(
        job=job,
        version=2,
        content=content,
        sha256="b" * 64,
        costs={},
        pdf=offer.pdf,
        valid_until=offer.valid_until,
    )
    assert accepted_outcome(job) == first
    row = Acceptance.objects.create(offer=newer, alternative=1, name="P", sha256="b" * 64)
    for _ in ("without its outcome", "with it"):
        assert accepted_outcome(job) == second
        found, pieces = accepted_pieces(job)
        assert (found, pieces) == (second, list(second.pieces.all()))
        QuerySet(Acceptance).filter(pk=row.pk).update(outcome=second)


def test_a_cover_without_film_has_no_pieces(db: None) -> None:
    job, outcome = an_accepted_job()
    outcome.pieces.all().delete()
    assert accepted_pieces(job) == (outcome, [])


def test_where_there_is_none_it_says_so(db: None) -> None:
    job, _ = an_accepted_job()
    _an_older_row(Acceptance.objects.get())
    QuerySet(Offer).update(content={"alternatives": [{"outcome": 0}]})
    for ask in (accepted_outcome, accepted_pieces):
        with pytest.raises(InputError, match="names a cover that is not computed"):
            ask(job)
    QuerySet(Acceptance).delete()
    for ask in (accepted_outcome, accepted_pieces):
        with pytest.raises(InputError, match="has accepted no offer yet"):
            ask(job)


@pytest.mark.django_db(transaction=True)
def test_rows_from_before_are_given_their_outcome_by_the_migration() -> None:
    executor = MigrationExecutor(connection)
    new = executor.loader.graph.leaf_nodes()
    job, outcome = an_accepted_job()
    an_accepted_job("2031-0043")
    other = Offer.objects.get(job__number="2031-0043")
    QuerySet(Offer).filter(pk=other.pk).update(content={"alternatives": [{"outcome": 0}]})
    try:
        executor.migrate([("offer", "0001_the_start")])
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(new)
    assert Acceptance.objects.get(offer__job=job).outcome == outcome
    assert Acceptance.objects.get(offer=other).outcome is None


def _an_older_row(row: Acceptance) -> None:
    QuerySet(Acceptance).filter(pk=row.pk).update(outcome=None)
