"""A small body in the library, prepared, measured and computed once for all tests of a run.

It is the dome of the job's tests: two panels, an emblem on the left one, a sensor on the right one.
Files are named by their contents, so that tests may share a folder; rows are written anew for each.
"""

import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
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
from layflat.web.files.store import path_of
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import find, key_of
from once import made_once

LEFT = PanelChoice(panel="left", edges={"front": EdgeFinish(Finish.WRAP, 6.0)})
LINE = ((150.0, -150.0, 874.6), (150.0, 150.0, 874.6))
KEEP = (60.0, 0.0, 895.0)
RIGHT_PART = PanelChoice(panel="right", line_mm=LINE, keep_mm=KEEP)
BOTH = Choices((LEFT, RIGHT_PART))

Found = tuple[dict[str, Any], list[dict[str, Any]]]
"""What a task found, and the rows of the files that it wrote."""


class Memo:
    """What tasks found, computed once for all workers of a run; their files come along."""

    def __init__(self, factory: pytest.TempPathFactory) -> None:
        self._factory = factory
        self._read: dict[str, Found] = {}

    def found(self, key: str, find_out: Callable[[], Found]) -> Found:
        """What *find_out* finds, or found before; its files are in the test's own folder."""
        if key not in self._read:

            def make(folder: Path) -> None:
                folder.mkdir()
                found = find_out()
                for row in found[1]:
                    shutil.copyfile(path_of(row["sha256"]), folder / row["sha256"])
                (folder / "found.json").write_text(json.dumps(found), encoding="utf-8")

            name = "domes-" + hashlib.sha256(key.encode()).hexdigest()[:20]
            folder = made_once(self._factory, name, make)
            result, rows = json.loads((folder / "found.json").read_text(encoding="utf-8"))
            for row in rows:
                if not (place := path_of(row["sha256"])).exists():
                    place.parent.mkdir(parents=True, exist_ok=True)
                    shutil.copyfile(folder / row["sha256"], place)
            self._read[key] = result, rows
        return self._read[key]


class Domes:
    """The dome's revision in one test's database.

    Args:
        folder: with the body, the panels and a job file of `job_workshop`.
        memo: of results and files by the computation's key, for all tests.
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

        def find_out() -> Found:
            before = set(StoredFile.objects.values_list("pk", flat=True))
            result = find(task).run(inputs, silent)
            made = StoredFile.objects.exclude(pk__in=before)
            return result, list(made.values("sha256", "size", "media_type", "name"))

        result, rows = self._memo.found(key_of(task, inputs), find_out)
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
