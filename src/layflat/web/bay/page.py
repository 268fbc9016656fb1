"""What a job's page in the bay carries: its tabs, each with all that it shows."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person

HERE: Final = (Stage.BAY, Stage.CHECKED)
"""Stages at which a job is worked on in the bay."""


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part of the app that has a tab.

    Attributes:
        name: of the tab in its address, such as "lay".
        title: what is on the tab.
        template: shows it; it is given what `read` finds, and `job`.
        read: finds what the template shows to a person.
    """

    name: str
    title: str
    template: str
    read: Callable[[Job, Person], Mapping[str, Any]]


@dataclass(frozen=True)
class Tab:
    """One tab as it is shown to a person."""

    part: Part
    values: Mapping[str, Any]


PARTS: Final[tuple[Part, ...]] = ()


def tabs(job: Job, who: Person) -> tuple[Tab, ...]:
    """The tabs of a job that stands in the bay; none for another."""
    if job.stage not in HERE:
        return ()
    return tuple(Tab(part, part.read(job, who)) for part in PARTS)
