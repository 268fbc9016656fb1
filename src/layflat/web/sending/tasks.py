"""The long computations of this part."""

from typing import Any

from layflat.base import Progress
from layflat.web.sending.asking import TASK as SEND
from layflat.web.sending.asking import stop_sending
from layflat.web.sending.correcting import TASK as CORRECT
from layflat.web.sending.correcting import correct as correct_programs
from layflat.web.sending.prepared import TASK as PREPARE
from layflat.web.sending.prepared import prepare as prepare_programs
from layflat.web.sending.running import run
from layflat.web.work.tasks import task

_DAY_S = 86_400.0


@task(SEND, comes_first=True, only_waits=True, hang_s=_DAY_S, stop=stop_sending)
def send(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Sending to a machine.

    See `layflat.web.sending.running.run`.
    """
    return run(inputs, progress)


@task(PREPARE, comes_first=True)
def prepare(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Making programs for a machine.

    See `layflat.web.sending.prepared.prepare`.
    """
    return prepare_programs(inputs, progress)


@task(CORRECT, comes_first=True)
def correct(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Bending programs against a drift.

    See `layflat.web.sending.correcting.correct`.
    """
    return correct_programs(inputs, progress)
