"""How often the page in the bay asks the database: all tabs at once, whatever the job holds."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.db.models import QuerySet
from django.test import Client
from django.test.utils import CaptureQueriesContext

from layflat.web.gates.models import Step
from layflat.web.jobs.models import Job, Stage
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.people.models import Person, Role
from web.bay.busy import MOST, a_busy_job

Browser = Callable[[Role], Client]
MOST_QUERIES = 16


def asked(browser: Client, number: str) -> tuple[str, list[str]]:
    """The page, and what it asked the database."""
    with CaptureQueriesContext(connection) as queries:
        answer = browser.get(f"/jobs/{number}/bay/")
    assert answer.status_code == 200
    return answer.content.decode(), [query["sql"] for query in queries]


@pytest.mark.parametrize("stage", [Stage.BAY, Stage.CHECKED])
def test_the_page_asks_little_however_much_there_is(
    signed_in: Browser, people: dict[Role, Person], stage: Stage
) -> None:
    counts: dict[Role, set[int]] = {role: set() for role in Role}
    for pieces, number in ((2, "2031-0042"), (MOST, "2031-0043")):
        a_busy_job(people, pieces=pieces, stage=stage, number=number)
        for role, counted in counts.items():
            text, queries = asked(signed_in(role), number)
            assert f"{pieces} taps of this job did not go in" in text
            assert text.count('class="sheet timer"') == pieces + 1  # and the script's own
            assert "Ilka and installer" in text
            # Two tools a step are in use, in the order of taking; the third one fell.
            assert text.count("It fell on the floor<") == 2 * pieces
            taken = [text.index(f'done">{tool} {number}-0') for tool in ("mitt", "cloth")]
            assert taken == sorted(taken)
            assert ("Layout 1 " in text) == (stage == Stage.BAY)
            assert len(queries) <= MOST_QUERIES, "\n".join(queries)
            assert sum('FROM "people_shop"' in sql for sql in queries) == 1
            counted.add(len(queries))
    assert all(len(counted) == 1 for counted in counts.values()), counts


def test_a_job_of_which_little_is_known_asks_no_more(
    signed_in: Browser, people: dict[Role, Person], job: Job
) -> None:
    """No steps are planned; then, the customer's yes names no cover that is kept; then, no yes."""
    installer = signed_in(Role.INSTALLER)
    Step.objects.filter(job=job).delete()
    text, queries = asked(installer, job.number)
    assert "The bay is not planned" in text
    assert len(queries) <= MOST_QUERIES, "\n".join(queries)
    QuerySet(Acceptance).update(outcome=None)
    QuerySet(Offer).update(content={"alternatives": [{"outcome": 0}]})
    text, queries = asked(installer, job.number)
    assert text.count("The accepted offer names a cover that is not computed") == 4
    assert len(queries) <= MOST_QUERIES, "\n".join(queries)
    QuerySet(Acceptance).delete()
    text, queries = asked(installer, job.number)
    assert text.count("The customer has accepted no offer yet") == 4
    assert len(queries) <= MOST_QUERIES, "\n".join(queries)
