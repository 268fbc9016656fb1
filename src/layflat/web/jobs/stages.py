"""Where a job stands, what is next, and how it moves on or back."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from layflat.base import InputError
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

ORDER: Final = tuple(Stage)
SENT_BACK: Final = (Stage.INTAKE, Stage.COVER, Stage.OFFERED, Stage.ACCEPTED, Stage.CHECKED)
"""Stages that a job may be sent back from, with a reason."""
_EARLIER: Final = {
    Stage.INTAKE: Stage.ENQUIRY,
    Stage.COVER: Stage.INTAKE,
    Stage.OFFERED: Stage.COVER,
    Stage.ACCEPTED: Stage.COVER,
    Stage.CHECKED: Stage.BAY,
}
_LEAVING: dict[Stage, dict[Callable[[Job], str], None]] = {}
_FURTHER: dict[Stage, Callable[[Job], "Step | None"]] = {}


def when_sent_back(stage: Stage, act: Callable[[Job], str]) -> None:
    """Have *act* called on each locked job that is sent back from *stage*.

    It does what belongs to that and says it in a sentence, or "" when there was nothing; parts that
    this one knows nothing of enter themselves here when they start.
    """
    _LEAVING.setdefault(stage, {}).setdefault(act)


def when_next(stage: Stage, find: Callable[[Job], "Step | None"]) -> None:
    """Have *find* asked for the next step of a job that stands at *stage*; None for the usual one.

    For parts above, like `when_sent_back`.
    """
    _FURTHER[stage] = find


@dataclass(frozen=True)
class Mark:
    """One stage on a job's strip.

    `state` is "done", "here", "left-out" or "ahead", said in `word` too.
    """

    stage: Stage
    state: str
    word: str


@dataclass(frozen=True)
class Step:
    """What is next.

    Attributes:
        says: one sentence.
        action: on the button; "" when nothing is to be done here.
        address: name of the address that the button leads to.
        is_change: whether the button changes something and so sends a form.
        waits_for: a few words where it is somebody else's turn, with a button or without.
    """

    says: str
    action: str = ""
    address: str = ""
    is_change: bool = False
    waits_for: str = ""

    @property
    def in_short(self) -> str:
        """A few words, as on the board."""
        return self.waits_for or self.action


_NEXT: Final = {
    Stage.ENQUIRY: Step(
        "Walk round the vehicle with the customer before anything is agreed.",
        "Begin the walk-round",
        "jobs:begin",
        is_change=True,
    ),
    Stage.INTAKE: Step(
        "Mark what is on the paint before film covers it.",
        "Finish the walk-round",
        "jobs:walk-round",
    ),
    Stage.COVER: Step(
        "Choose with the customer what is covered.", "Choose the cover", "cover:cover"
    ),
    Stage.OFFERED: Step(
        "The customer has the offer; wait for the answer.",
        "Look at the offer",
        "offer:offer",
        waits_for="Hear from the customer",
    ),
    Stage.ACCEPTED: Step("The offer is accepted; plan the bay.", waits_for="Plan the bay"),
    Stage.BAY: Step("Work through the steps in the bay.", waits_for="Work in the bay"),
    Stage.CHECKED: Step(
        "Checked by somebody else, without an open flag; hand the car back.",
        waits_for="Hand back",
    ),
    Stage.HANDED: Step(
        "Handed back; see the car again at the follow-up visit.", waits_for="Follow up"
    ),
    Stage.CLOSED: Step("Nothing is left to do."),
}


def next_step(stage: str) -> Step:
    """What is usually next for a job that stands at *stage*."""
    return _NEXT[Stage(stage)]


def next_step_of(job: Job) -> Step:
    """What is next for a job, by all that is known of it."""
    stage = Stage(job.stage)
    find = _FURTHER.get(stage)
    return (find(job) if find else None) or next_step(stage)


def strip(job: Job) -> list[Mark]:
    """Every stage, as seen from where the job stands, or stood when it was closed."""
    here = ORDER.index(Stage(job.stage))
    reached = ORDER.index(Stage(job.closed_from)) + 1 if job.closed_from else here
    marks = []
    for place, stage in enumerate(ORDER):
        if place == here:
            state, word = "here", "here"
        elif place < reached:
            state, word = "done", "up to here" if stage == job.closed_from else "done"
        elif place < here:
            state, word = "left-out", "left out"
        else:
            state, word = "ahead", "to come"
        marks.append(Mark(stage, state, word))
    return marks


def move(job: Job, stage: Stage, *, who: Person | None, sentence: str, kind: str) -> None:
    """Put a job at a stage and say so; call it on a locked job in a transaction."""
    before = {"stage": job.stage, "version": job.version}
    job.stage = stage
    job.version += 1
    job.save(update_fields=["stage", "version", "changed_at"])
    write_event(
        kind,
        sentence,
        who=who,
        job=job,
        before=before,
        after={"stage": stage.value, "version": job.version},
    )


def begin_walk_round(job: Job, *, who: Person | None) -> None:
    """From the enquiry to the walk-round; nothing when it has begun already."""
    if job.stage == Stage.ENQUIRY:
        move(
            job, Stage.INTAKE, who=who, kind="job.walk-round", sentence="The walk-round was begun."
        )


def move_back(job: Job, *, reason: str, who: Person | None, seen: str = "") -> None:
    """One stage back; from an offer or an accepted one, to the cover.

    Args:
        job: locked.
        reason: stays in the history.
        who: sends it back.
        seen: the stage that the person saw, so that a job that moved since stays; "" for any.

    Raises:
        InputError: without a reason, where there is no way back, or the job stands elsewhere now.
    """
    reason = reason.strip()
    if seen and seen != job.stage:
        raise InputError(
            f"The job has moved to “{Stage(job.stage).label}” meanwhile; look at it again first."
        )
    if not reason:
        raise InputError("Say why the job goes back; the reason stays in its history.")
    if job.stage not in SENT_BACK:
        raise InputError(
            f"A job that stands at “{Stage(job.stage).label}” cannot go back from here."
        )
    stage = Stage(job.stage)
    earlier = _EARLIER[stage]
    done = [act(job) for act in _LEAVING.get(stage, ())]
    more = "".join(f" {sentence}" for sentence in done if sentence)
    move(
        job,
        earlier,
        who=who,
        kind="job.sent-back",
        sentence=f"Sent back to “{earlier.label}”: {reason}{more}",
    )
