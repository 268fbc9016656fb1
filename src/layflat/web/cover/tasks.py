"""The long computations of this part."""

from typing import Any

from layflat.base import Progress
from layflat.web.cover.compute import TASK as COMPUTE
from layflat.web.cover.compute import compute_cover
from layflat.web.cover.measure import TASK as MEASURE
from layflat.web.cover.measure import measure_panels
from layflat.web.cover.seamed import TASK as SEAMS
from layflat.web.cover.seamed import compare_seams
from layflat.web.work.tasks import task


@task(MEASURE)
def measure(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Measuring a body's panels.

    See `layflat.web.cover.measure.measure_panels`.
    """
    return measure_panels(inputs, progress)


@task(COMPUTE)
def compute(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Computing a cover.

    See `layflat.web.cover.compute.compute_cover`, and for a piece's files
    `layflat.web.cover.fit_files`.
    """
    return compute_cover(inputs, progress)


@task(SEAMS, comes_first=True)
def seams(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Comparing one piece with two.

    See `layflat.web.cover.seamed.compare_seams`.
    """
    return compare_seams(inputs, progress)
