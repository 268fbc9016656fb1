"""The long computations of this part."""

from typing import Any

from layflat.base import Progress
from layflat.web.week.asking import TASK as PLAN
from layflat.web.week.planning import run
from layflat.web.work.tasks import task


@task(PLAN, comes_first=True)
def plan(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Planning the week's film.

    See `layflat.web.week.planning.run`.
    """
    return run(inputs, progress)
