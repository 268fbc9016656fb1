"""What a job's page says of its steps, and what is next of them."""

from typing import Any

from layflat.web.gates.models import Step
from layflat.web.gates.standing import WORKED, standing
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.stages import Step as Next

PLAN = Next(
    "The offer is accepted; look at this car's steps and plan the bay.",
    "Plan the bay",
    "gates:plan",
)


def read(job: Job) -> dict[str, Any]:
    """How the job's steps stand, for `gates/on_job.html`; no query before the offer is accepted."""
    if job.stage not in (*WORKED, Stage.HANDED, Stage.CLOSED):
        return {"gates": None}
    found = standing(job)
    counted = [item for item in found if item.step.state != Step.State.LEFT_OUT]
    return {
        "gates": {
            "steps": found,
            "done": sum(item.is_over for item in counted),
            "all": len(counted),
            "open": [item for item in counted if item.is_open] if job.stage in WORKED else [],
            "is_worked": job.stage in WORKED,
        }
    }


def next_when_accepted(_job: Job) -> Next | None:
    """Planning the bay."""
    return PLAN


def next_in_the_bay(_job: Job) -> Next | None:
    """Working through the steps."""
    return Next("Work through the steps in the bay.", "Go on in the bay", "bay:bay")
