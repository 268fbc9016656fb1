"""A job in the bay, and a tablet on which its page was opened."""

import itertools
from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from browser.conftest import TABLET_SIZE, Live
from browser.tapped import CLOCK, NETWORK, opened
from layflat.web.gates.models import Kind, Step, Tool, Zone
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role
from web.bayed import an_accepted_job, in_the_bay

PageOf = Callable[..., Page]

_numbers = itertools.count(1)


@pytest.fixture
def job(live: Live) -> Job:
    """A job in the bay with a step by hand before those of `in_the_bay`."""
    with live.inside():
        found, _ = an_accepted_job(f"2031-04{next(_numbers):02}")
        in_the_bay(found)
        Step.objects.create(
            job=found, key="wash", title="Wash", position=0, kind=Kind.HAND, zone=Zone.ANY
        )
        Step.objects.filter(job=found, kind=Kind.IRON).update(needs=["wash"])
        return found


@pytest.fixture
def bay(job: Job, page_of: PageOf) -> Page:
    """An installer's tablet with the page of the job, which can be opened again without network."""
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    page.add_init_script(f"({CLOCK})()")
    opened(page, job)
    return page


@pytest.fixture
def mitts(live: Live, job: Job) -> list[str]:
    """Three tools that may be taken for the step "wash", one after the other: their keys."""
    with live.inside():
        names = [f"mitt {job.number}/{place}" for place in range(3)]
        return [str(Tool.objects.create(name=name, zone=Zone.ANY).pk) for name in names]
