"""The long computations of this part."""

from typing import Any

from layflat.base import Progress
from layflat.web.cover.measure import TASK as MEASURE
from layflat.web.cover.measure import measure_panels
from layflat.web.work.tasks import task


@task(MEASURE)
def measure(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Measuring a body's panels.

    See `layflat.web.cover.measure.measure_panels`.
    """
    return measure_panels(inputs, progress)
