"""The long computations of this part."""

from typing import Any

from layflat.base import Progress
from layflat.web.cutting.keeping import TASK as PROGRAMS
from layflat.web.cutting.keeping import keep_with_programs
from layflat.web.cutting.search import TASK as LAY
from layflat.web.cutting.search import search
from layflat.web.work.tasks import task


@task(LAY, comes_first=True)
def lay(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Laying pieces out.

    See `layflat.web.cutting.search.search`.
    """
    return search(inputs, progress)


@task(PROGRAMS, comes_first=True)
def programs(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Making cut programs.

    See `layflat.web.cutting.keeping.keep_with_programs`.
    """
    return keep_with_programs(inputs, progress)
