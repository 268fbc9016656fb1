"""An act that counts, and a job that it is about."""

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from layflat.base import InputError, OutputError
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role
from layflat.web.record.models import write_event
from layflat.web.taps import acts
from layflat.web.taps.acts import Call, act
from web.covered import a_body, a_job

KEY = "0123456789abcdef0123456789abcdef"
DEVICE = "d" * 32


def key(number: int) -> str:
    """The key of a tap for tests."""
    return f"{number:032x}"


@pytest.fixture
def job(people: object) -> Job:
    return a_job("2031-0042", body=a_body())


@dataclass
class Done:
    """What the acts of a test were called with, also when all was undone afterwards."""

    calls: list[Call] = field(default_factory=list)

    @property
    def moments(self) -> list[datetime.datetime]:
        return [call.at for call in self.calls]


@pytest.fixture
def done(monkeypatch: pytest.MonkeyPatch) -> Done:
    """Acts that write an event and then, if they are told to, refuse or fail."""
    found = Done()
    monkeypatch.setattr(acts, "_ACTS", {})
    fails: dict[str, Callable[[], Exception]] = {
        "refuse": lambda: InputError("Piece 3 is laid already."),
        "fault": lambda: ZeroDivisionError("a defect"),
        "full": lambda: OutputError("No space left on device: pieces.json."),
    }

    @act("sample.write")
    def write(call: Call) -> str:
        """Write something down."""
        found.calls.append(call)
        text = call.fields.get("text", "")
        write_event("sample.wrote", text or "nothing", who=call.who, job=call.job)
        for word, fail in fails.items():
            if word in text:
                raise fail()
        return f"Wrote “{text}”."

    @act("sample.free", roles=(Role.COUNTER,), needs_job=False)
    def free(call: Call) -> str:
        """Say something without a job."""
        found.calls.append(call)
        write_event("sample.wrote", "free", who=call.who)
        return "Said."

    return found
