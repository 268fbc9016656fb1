"""Which long computations there are, and how one is asked for.

A part of the app that computes long keeps its tasks in its module `tasks`, as functions from JSON
to JSON that say how far they are::

    @task("bodies.prepare")
    def prepare(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
        \"\"\"Preparing a body.\"\"\"

The word before the dot is the part's label; the first line of the docstring is what people read.
A task may run more than once, after a crash or a lost worker: what it leaves outside its result
must stand being done again.
"""

import hashlib
import importlib
import importlib.util
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import transaction

from layflat import __version__
from layflat.base import InputError, Progress
from layflat.web.people.models import Person
from layflat.web.work import rows
from layflat.web.work.models import Computation
from layflat.web.work.reconcile import wake

Run = Callable[[dict[str, Any], Progress], dict[str, Any]]
Stop = Callable[[dict[str, Any], Person | None], str]
_HANG_S = 1800.0


@dataclass(frozen=True)
class Task:
    """A computation that can be asked for.

    Attributes:
        name: as it is asked for, `part.what`.
        run: computes it.
        title: for people.
        hang_s: how long it may be silent before its attempt is ended.
        comes_first: whether somebody stands and waits for it.
        only_waits: whether it hardly computes; see `Computation.only_waits`.
        stop: for one that must not be ended at any moment: asks it to end by its own way, given
            its inputs and who asks, and answers what will happen, in a sentence. None for all
            that may be ended at once.
    """

    name: str
    run: Run
    title: str
    hang_s: float
    comes_first: bool
    only_waits: bool = False
    stop: Stop | None = None


_TASKS: dict[str, Task] = {}


def task(
    name: str,
    *,
    hang_s: float = _HANG_S,
    comes_first: bool = False,
    only_waits: bool = False,
    stop: Stop | None = None,
) -> Callable[[Run], Run]:
    """Marks a function as the computation *name*.

    Args:
        name: as it is asked for.
        hang_s: how long it may be silent.
        comes_first: begin it before others, since somebody stands and waits for it.
        only_waits: it hardly computes: it takes no place from those that do.
        stop: how it is asked to end, where it must not be ended at any moment.
    """

    def mark(run: Run) -> Run:
        first = (run.__doc__ or name).strip().splitlines()[0]
        _TASKS[name] = Task(
            name, run, first.rstrip("."), hang_s, comes_first, only_waits=only_waits, stop=stop
        )
        return run

    return mark


def find(name: str) -> Task:
    """The task *name*; its part's tasks are read on the first question.

    Raises:
        InputError: there is none.
    """
    label = name.partition(".")[0]
    if name not in _TASKS and label in apps.app_configs:
        module = f"{apps.get_app_config(label).name}.tasks"
        if importlib.util.find_spec(module) is not None:
            importlib.import_module(module)
    if name not in _TASKS:
        raise InputError(f"There is no computation “{name}”.")
    return _TASKS[name]


def title_of(name: str) -> str:
    """What people read for the task *name*, also where this version has it no more."""
    try:
        return find(name).title
    except InputError:
        return name


def own_stop(name: str) -> Stop | None:
    """How the task *name* is asked to end by its own way, if it has one."""
    try:
        return find(name).stop
    except InputError:
        return None


def key_of(name: str, inputs: dict[str, Any], *, version: str = __version__) -> str:
    """SHA-256 over task, inputs as canonical JSON, and Layflat's version, in hexadecimal.

    Raises:
        InputError: the inputs are not JSON.
    """
    try:
        canonical = json.dumps(
            [name, inputs, version],
            sort_keys=True,
            separators=(",", ":"),
            ensure_ascii=False,
            allow_nan=False,
        )
    except (TypeError, ValueError) as error:
        raise InputError(f"The inputs of “{name}” are not JSON: {error}.") from error
    return hashlib.sha256(canonical.encode()).hexdigest()


def ask(name: str, inputs: dict[str, Any], *, who: Person | None) -> Computation:
    """Ask for a computation; answers at once.

    Equal requests share one row: a finished one is returned as it is, one that failed or was
    stopped is begun anew. It begins when the surrounding transaction, if any, is committed.

    Args:
        name: of the task.
        inputs: its arguments as JSON; contents by their hashes.
        who: asks.

    Raises:
        InputError: there is no such task, or the inputs are not JSON.
    """
    found, key = find(name), key_of(name, inputs)
    with transaction.atomic():
        row, is_new = Computation.objects.get_or_create(
            key=key,
            defaults={
                "task": name,
                "inputs": inputs,
                "version": __version__,
                "comes_first": found.comes_first,
                "only_waits": found.only_waits,
                "asked_by": who,
            },
        )
        if not is_new and rows.ask_again(row.pk):
            row.refresh_from_db()
        transaction.on_commit(wake)
    return row
