"""A job whose film lies weeded beside the car, for tests of laying and of what comes after."""

from collections.abc import Sequence
from typing import Any

from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Kind
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.taps.doing import do
from layflat.web.taps.models import Tap
from web.bayed import an_accepted_job, in_the_bay, some_cuts, steps_done

PANELS = ("hood", "roof")


def ready_to_lay(
    number: str = "2031-0042", *, panels: Sequence[str] = PANELS, **job: Any
) -> tuple[Job, list[Cut]]:
    """A job in the bay, washed and free of iron, its film weeded."""
    found, outcome = an_accepted_job(number, panels=panels, **job)
    cuts = some_cuts(found, outcome)
    in_the_bay(found)
    steps_done(found, Kind.IRON, Kind.CUT)
    return found, cuts


def somebody(name: str, role: Role = Role.INSTALLER) -> Person:
    return Person.objects.create(name=name.lower(), shown=name, role=role)


_count = iter(range(1, 1 << 62))


def tap(act: str, who: Person, job: Job, files: Any = None, **fields: object) -> Tap:
    """Tap once; what came of it."""
    row = do(
        act,
        key=f"{next(_count):032x}",
        who=who,
        job=job.number,
        fields={name: str(value) for name, value in fields.items()},
        files=files,
    )
    job.refresh_from_db()
    return row
