"""What is still missing before a car can be handed back, and where it is done."""

import datetime
from dataclasses import dataclass

from layflat.base import InputError
from layflat.web.gates.standing import unfinished
from layflat.web.inspection.open import is_checked
from layflat.web.jobs.models import Job, Stage
from layflat.web.laying.words import in_a_row


@dataclass(frozen=True)
class Missing:
    """One thing that is missing.

    Attributes:
        says: it, in a sentence.
        action: on the link to where it is done.
        address: name of the page, which takes the job's number; or "#…" on this page.
    """

    says: str
    action: str
    address: str


def missing(
    job: Job, *, at: datetime.datetime | None = None, has_pictures: bool | None = None
) -> tuple[Missing, ...]:
    """What a job still lacks; () when the car can go.

    Args:
        job: the job.
        at: the moment that counts, or now.
        has_pictures: whether there are pictures of the finished car; None to have it looked up.
    """
    if job.stage not in (Stage.BAY, Stage.CHECKED):
        label = Stage(job.stage).label
        return (
            Missing(
                f"The job stands at “{label}”; a car is handed back once it is checked.",
                "To the job",
                "jobs:job",
            ),
        )
    found = []
    try:
        unchecked = is_checked(job)
    except InputError as error:
        unchecked = str(error)
    if unchecked:
        found.append(Missing(unchecked, "Check it in the bay", "bay:bay"))
    titles = [f"“{title}”" for title in unfinished(job, at=at)]
    if titles:
        word = "Step" if len(titles) == 1 else "Steps"
        found.append(Missing(f"{word} not done: {in_a_row(titles)}.", "To the steps", "bay:bay"))
    if not found and job.stage != Stage.CHECKED:
        found.append(
            Missing(
                "The inspection is not ended; its inspector ends it.",
                "Check it in the bay",
                "bay:bay",
            )
        )
    if has_pictures is None:
        has_pictures = job.final_pictures.filter(is_withdrawn=False).exists()
    if not has_pictures:
        found.append(
            Missing("There is no picture of the finished car.", "Take pictures", "#pictures")
        )
    return tuple(found)


def require_nothing_missing(job: Job, *, at: datetime.datetime) -> None:
    """Refuse a hand-back that something is missing for.

    Raises:
        InputError: all that is missing.
    """
    found = missing(job, at=at)
    if found:
        raise InputError(" ".join(item.says for item in found))
