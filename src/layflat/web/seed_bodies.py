"""The invented maker's bodies in the library: two scanned, one known by a kept pattern."""

import tempfile
from pathlib import Path

from django.core.files import File

from layflat.base import Progress, part_of, silent
from layflat.demo import write_workshop
from layflat.web.bodies.contents import keep_panels, keep_scan
from layflat.web.bodies.library import add_revision
from layflat.web.bodies.models import Body, Revision
from layflat.web.people.models import Person
from layflat.web.seed_patterns import seed_patterns

MAKER = "Tarnholm"
_BODIES = (("Haulbeck", "m", 2029, None), ("Siskwing", "mm", 2027, 2031))
"""Name, unit of the scan and years, in the order of the workshop's scans."""


def seed_bodies(*, who: Person, progress: Progress = silent) -> dict[str, Revision]:
    """Add the bodies; scans are prepared once the app serves.

    Args:
        who: adds them.
        progress: told each step.

    Returns:
        The revisions with a scan, by maker and name.

    Raises:
        OutputError: a file cannot be kept.
        StoppedError: raised by *progress*.
    """
    added = {}
    with tempfile.TemporaryDirectory(prefix="layflat-") as folder:
        workshop = write_workshop(Path(folder), progress=part_of(progress, start=0.0, end=0.9))
        files = zip(_BODIES, workshop.scans, workshop.panels, strict=True)
        for (name, unit, year_from, year_to), scan_path, panels_path in files:
            progress(f"adding the {name} to the library", 0.9)
            body = Body.objects.create(maker=MAKER, name=name, year_from=year_from, year_to=year_to)
            with scan_path.open("rb") as scan, panels_path.open("rb") as panels:
                added[str(body)] = add_revision(
                    body,
                    scan=keep_scan(File(scan, name=scan_path.name), unit=unit, who=who),
                    unit=unit,
                    panels=keep_panels(File(panels, name=panels_path.name), who=who),
                    who=who,
                )
    seed_patterns(MAKER, who=who)
    return added
