"""The dome of the job's tests in the running app's library: quick to measure and to compute."""

from pathlib import Path

from browser.conftest import Live
from job_workshop import write_workshop
from layflat.base import silent
from layflat.web.bodies.models import Body, Revision
from layflat.web.bodies.tasks import prepare_body
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep


def dome_in_library(live: Live, folder: Path, *, name: str) -> int:
    """The key of a prepared revision: two panels, an emblem on the left one, a sensor on the right.

    Args:
        live: the running app.
        folder: an empty one, for the scan and its panels.
        name: of the body.
    """
    write_workshop(folder)
    with live.inside():
        scan, panels = (
            keep(
                [(folder / file).read_bytes()],
                name=file,
                media_type=kind,
                most_bytes=50_000_000,
                who=None,
            )
            for file, kind in (("body.ply", "model/x-ply"), ("panels.json", "application/json"))
        )
        made = prepare_body({"scan": scan.sha256, "unit": "m", "panels": panels.sha256}, silent)
        stored = {
            key: StoredFile.objects.get(sha256=made[key]) for key in ("light", "lines", "picture")
        }
        return Revision.objects.create(
            body=Body.objects.create(maker="Tarnholm", name=name),
            number=1,
            unit="m",
            scan=scan,
            panels=panels,
            mending=made["mending"],
            **stored,
        ).pk
