"""A small body in the library, prepared, measured and computed once for all tests of a run.

It is the dome of the job's tests: two panels, an emblem on the left one, a sensor on the right one.
Files are named by their contents, so that tests may share a folder; rows are written anew for each.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.core.files import File
from django.utils import timezone

from layflat.base import silent
from layflat.pattern import EdgeFinish, Finish
from layflat.web.bodies.contents import keep_panels, keep_scan
from layflat.web.bodies.library import fill
from layflat.web.bodies.models import Body, Revision
from layflat.web.cover.choices import Choices, PanelChoice
from layflat.web.cover.measure import ask_measures
from layflat.web.files.models import StoredFile
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import find, key_of

LEFT = PanelChoice(panel="left", edges={"front": EdgeFinish(Finish.WRAP, 6.0)})
LINE = ((150.0, -150.0, 874.6), (150.0, 150.0, 874.6))
KEEP = (60.0, 0.0, 895.0)
RIGHT_PART = PanelChoice(panel="right", line_mm=LINE, keep_mm=KEEP)
BOTH = Choices((LEFT, RIGHT_PART))

Memo = dict[str, tuple[dict[str, Any], list[dict[str, Any]]]]


class Domes:
    """The dome's revision in one test's database.

    Args:
        folder: with the body, the panels and a job file of `job_workshop`.
        memo: results and rows of files by the computation's key, for all tests.
    """

    def __init__(self, folder: Path, memo: Memo) -> None:
        self.folder, self._memo = folder, memo
        body = Body.objects.create(maker="Tarnholm", name="Dome")
        with (folder / "body.ply").open("rb") as scan, (folder / "panels.json").open("rb") as info:
            self.revision = Revision.objects.create(
                body=body,
                number=1,
                unit="m",
                scan=keep_scan(File(scan, name="body.ply"), unit="m", who=None),
                panels=keep_panels(File(info, name="panels.json"), who=None),
            )
        scan_sha, panels_sha = self.revision.scan.sha256, self.revision.panels.sha256
        inputs = {"scan": scan_sha, "unit": "m", "panels": panels_sha}
        key = key_of("bodies.prepare", inputs)
        self.revision.preparation = Computation.objects.create(
            task="bodies.prepare", inputs=inputs, key=key
        )
        self.finish(self.revision.preparation)
        fill(self.revision)

    def result(self, task: str, inputs: dict[str, Any]) -> dict[str, Any]:
        """What a task finds, computed once a run."""
        key = key_of(task, inputs)
        if key not in self._memo:
            before = set(StoredFile.objects.values_list("pk", flat=True))
            result = find(task).run(inputs, silent)
            made = StoredFile.objects.exclude(pk__in=before)
            fields = ("sha256", "size", "media_type", "name")
            self._memo[key] = (result, list(made.values(*fields)))
        result, rows = self._memo[key]
        StoredFile.objects.bulk_create([StoredFile(**row) for row in rows], ignore_conflicts=True)
        return result

    def finish(self, computation: Computation) -> None:
        """Let a computation that was asked for be done."""
        computation.result = self.result(computation.task, computation.inputs)
        computation.state, computation.ended_at = State.DONE, timezone.now()
        computation.save()

    def measure(self) -> None:
        """Let the body be measured."""
        self.finish(ask_measures(self.revision, who=None))


Make = Callable[[], Domes]
