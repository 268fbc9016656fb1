"""What a job's page in the bay carries: its tabs, each with all that it shows."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from layflat.web.cutting.bay_tab import read as film
from layflat.web.gates.bay_tab import read as steps
from layflat.web.inspection.bay_tab import read as check
from layflat.web.jobs.models import Job, Stage
from layflat.web.laying.bay_tab import read as lay
from layflat.web.noting.bay_tab import read as fit
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
        head: a template for the page's head, with styles and scripts; "" for none.
    """

    name: str
    title: str
    template: str
    read: Callable[[Job, Person], Mapping[str, Any]]
    head: str = ""


@dataclass(frozen=True)
class Tab:
    """One tab as it is shown to a person."""

    part: Part
    values: Mapping[str, Any]


PARTS: Final = (
    Part(name="steps", title="Steps", template="gates/bay_tab.html", read=steps),
    Part(name="film", title="Film", template="cutting/bay_tab.html", read=film),
    Part(
        name="lay",
        title="Lay",
        template="laying/bay_tab.html",
        read=lay,
        head="laying/head.html",
    ),
    Part(
        name="check",
        title="Check",
        template="inspection/bay_tab.html",
        read=check,
        head="inspection/head.html",
    ),
    Part(
        name="fit",
        title="Fit",
        template="noting/bay_tab.html",
        read=fit,
        head="noting/head.html",
    ),
)


def tabs(job: Job, who: Person) -> tuple[Tab, ...]:
    """The tabs of a job that stands in the bay; none for another."""
    if job.stage not in HERE:
        return ()
    return tuple(Tab(part, part.read(job, who)) for part in PARTS)
