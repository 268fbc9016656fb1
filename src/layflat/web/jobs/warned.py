"""The faults that a customer has to know of, as pages ask for them."""

from collections.abc import Callable
from typing import Any

from layflat.web.jobs.models import Job


def warned_of(job: Job, picture_of: Callable[[int, str], str]) -> dict[str, Any]:
    """What waits for an acknowledgement, and what has one; one query.

    Args:
        job: whose faults.
        picture_of: gives the address of a small picture, by the fault's number and its hash.

    Returns:
        `open`, as (fault, address or ""), and `acknowledged`, faults.
    """
    warned = [fault for fault in job.faults.select_related("thumb") if fault.is_warning]
    return {
        "open": [
            (fault, picture_of(fault.number, fault.thumb.sha256) if fault.thumb else "")
            for fault in warned
            if fault.is_open_warning
        ],
        "acknowledged": [
            fault for fault in warned if fault.acknowledged_at and not fault.is_withdrawn
        ],
    }
