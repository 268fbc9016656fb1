"""What parts of one page share of a job in memory."""

import pytest

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.jobs.shared import read_once


def test_it_is_read_once_for_one_job_in_memory() -> None:
    asked: list[Job] = []

    def read(job: Job) -> list[int]:
        asked.append(job)
        return [len(asked)]

    def other(job: Job) -> str:
        return job.number

    here, again = Job(pk=1, number="2031-0001"), Job(pk=1, number="2031-0001")
    assert read_once(here, read) is read_once(here, read)
    assert (read_once(here, other), asked) == ("2031-0001", [here])
    # The same row, read anew, knows nothing of it.
    assert read_once(again, read) == [2]


def test_a_refusal_is_asked_for_once_too() -> None:
    asked: list[Job] = []

    def refuse(job: Job) -> None:
        asked.append(job)
        raise InputError("The customer has accepted nothing.")

    job = Job(pk=1, number="2031-0001")
    for _ in range(2):
        with pytest.raises(InputError, match="accepted nothing"):
            read_once(job, refuse)
    assert asked == [job]
