"""A job that stands in the bay."""

import pytest

from layflat.web.jobs.models import Job
from web.bayed import an_accepted_job, in_the_bay


@pytest.fixture
def job(people: object) -> Job:
    found, _ = an_accepted_job("2031-0042")
    in_the_bay(found)
    return found
