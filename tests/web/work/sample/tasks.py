"""Computations whose side effects tests can count: lines in the file that `log` names."""

import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from layflat.base import InputError, Progress
from layflat.web.work.tasks import task


def note(inputs: dict[str, Any], word: str) -> None:
    # One write of one short line: whole also where several processes append.
    with Path(inputs["log"]).open("a", encoding="utf-8") as file:
        file.write(f"{word} {os.getpid()}\n")


def wait_for(path: str, progress: Progress) -> None:
    while not Path(path).exists():
        progress("waiting at the gate", 0.5)
        time.sleep(0.02)


@task("sample.gate")
def gate(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Waiting at a gate."""
    note(inputs, "begin")
    wait_for(inputs["gate"], progress)
    note(inputs, "end")
    return {"passed": True}


@task("sample.watch", only_waits=True)
def watch(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Watching a gate."""
    note(inputs, "watching")
    wait_for(inputs["gate"], progress)
    return {"passed": True}


@task("sample.first", comes_first=True)
def first(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Giving back at once."""
    return echo(inputs, progress)


@task("sample.echo")
def echo(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Giving back."""
    note(inputs, "begin")
    note(inputs, "end")
    return inputs


@task("sample.abort")
def abort(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Crashing."""
    note(inputs, "begin")
    os.abort()


@task("sample.refuse")
def refuse(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Refusing."""
    note(inputs, "begin")
    raise InputError("The roll is narrower than the piece by 12 mm.")


@task("sample.slip")
def slip(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Slipping."""
    note(inputs, "begin")
    return {"never": 1 // 0}


@task("sample.hang", hang_s=0.6)
def hang(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Hanging."""
    note(inputs, "begin")
    wait_for(inputs["gate"], lambda *_: None)
    return {}


@task("sample.family")
def family(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Waiting, with a child of its own that waits too."""
    code = (
        "import sys, time, pathlib\nwhile not pathlib.Path(sys.argv[1]).exists(): time.sleep(0.1)"
    )
    with subprocess.Popen([sys.executable, "-c", code, inputs["gate"]]) as grandchild:
        with Path(inputs["log"]).open("a", encoding="utf-8") as file:
            file.write(f"begin {os.getpid()}\ngrandchild {grandchild.pid}\n")
        wait_for(inputs["gate"], progress)
    return {}
