"""The journal of a bench: steps are added, undone and done again; nothing is lost."""

import hashlib
import json
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from layflat.base import InputError
from layflat.web.bodies.library import add_revision
from layflat.web.bodies.models import Revision
from layflat.web.files.models import StoredFile
from layflat.web.people.models import Person
from layflat.web.record.models import write_event
from layflat.web.scanning.acts import act_on
from layflat.web.scanning.models import Bench, Step
from layflat.web.scanning.standing import source_of, standing_inputs, standing_of
from layflat.web.scanning.state import State, from_json, to_json
from layflat.web.work.models import State as Work
from layflat.web.work.tasks import ask

_SHOWN_STEPS = 12


class ChangedMeanwhileError(InputError):
    """Somebody else took a step since the page was shown."""


def state_of(bench: Bench) -> State:
    """How the work stands."""
    return from_json(bench.current.state if bench.current else None)


def mesh_of(revision: Revision, state: State) -> str:
    """The SHA-256 of the mesh that is traced on, or "" while it is not made."""
    made = standing_of(revision, state)
    if made is None or made.state != Work.DONE or made.result is None:
        return ""
    mesh: str = made.result["mesh"]
    return mesh


def bench_of(revision: Revision) -> Bench | None:
    """The bench of a revision, if work on it was begun."""
    found = Bench.objects.filter(revision=revision)
    return found.select_related("revision__body", "current", "making__asked_by", "made").first()


def last_steps(bench: Bench) -> QuerySet[Step]:
    """The last steps, the newest first."""
    return bench.steps.select_related("who").order_by("-pk")[:_SHOWN_STEPS]


def begin(revision: Revision, *, who: Person) -> Bench:
    """Begin the work on a revision; one that was begun goes on.

    Raises:
        InputError: the revision is not ready.
    """
    with transaction.atomic():
        # The row of the revision is held, so that two taps begin one bench.
        Revision.objects.select_for_update().get(pk=revision.pk)
        bench, is_new = Bench.objects.get_or_create(revision=revision)
        ask("scanning.stand", standing_inputs(revision, state_of(bench)), who=who)
        if is_new:
            write_event(
                "scan.begun",
                f"{revision} is on the scan bench.",
                who=who,
                after={"revision": revision.pk},
            )
    return bench


def take(revision: Revision, asked: dict[str, Any], *, who: Person) -> Bench:
    """Take one step, go one back (`undo`) or do one again (`redo`).

    Args:
        revision: whose bench.
        asked: `seen`, the number of the step that the page shows, or 0; `act`, and what it needs.
        who: acts.

    Raises:
        ChangedMeanwhileError: somebody was quicker.
        InputError: it cannot be done.
    """
    digest = hashlib.sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()
    with transaction.atomic():
        bench = (
            Bench.objects.select_for_update(of=("self",))
            .filter(revision=revision)
            .select_related("current__before", "making")
            .first()
        )
        if bench is None:
            raise InputError("Put the scan on the bench first.")
        current = bench.current
        if asked.get("seen") != (current.pk if current else 0):
            if current is not None and current.asked == digest:
                return bench  # The same tap, come twice.
            raise ChangedMeanwhileError(
                "Somebody changed this bench in the meantime; it is shown as it stands now. Do "
                "your step again if it is still right."
            )
        state = state_of(bench)
        if asked.get("act") in ("undo", "redo"):
            _go(bench, back=asked["act"] == "undo")
        else:
            after, sentence = act_on(state, asked, mesh=mesh_of(revision, state))
            if after == state:
                return bench
            bench.current = Step.objects.create(
                bench=bench,
                before=current,
                who=who,
                asked=digest,
                sentence=sentence[:200],
                state=to_json(after),
            )
        bench.save(update_fields=["current"])
        then = state_of(bench)
        if standing_inputs(revision, then) != standing_inputs(revision, state):
            ask("scanning.stand", standing_inputs(revision, then), who=who)
    return bench


def _go(bench: Bench, *, back: bool) -> None:
    if back:
        if bench.current is None:
            raise InputError("There is no earlier step.")
        bench.current = bench.current.before
        return
    later = Step.objects.filter(bench=bench, before=bench.current).order_by("-pk").first()
    if later is None:
        raise InputError("There is no later step.")
    bench.current = later


def lacking(state: State) -> str:
    """What is to be done before panels can be made, in a sentence, or ""."""
    if not any(draft.is_panel for draft in state.drafts):
        return "Trace a panel first."
    for draft in state.drafts:
        if not draft.outline.closed:
            return f"The outline of “{draft.name}” is not closed; close or drop it."
    return ""


def ask_for_panels(revision: Revision, *, seen: int, who: Person) -> Bench:
    """Ask for panels made of what is traced.

    Raises:
        ChangedMeanwhileError: somebody was quicker.
        InputError: nothing is traced, an outline is open, or the scan is not upright yet.
    """
    with transaction.atomic():
        bench = Bench.objects.select_for_update(of=("self",)).filter(revision=revision).first()
        if bench is None:
            raise InputError("Put the scan on the bench first.")
        if seen != (bench.current_id or 0):
            raise ChangedMeanwhileError(
                "Somebody changed this bench in the meantime; look at it before panels are made."
            )
        state = state_of(bench)
        if lacks := lacking(state):
            raise InputError(lacks)
        stood = standing_of(revision, state)
        if stood is None or stood.state != Work.DONE or stood.result is None:
            raise InputError("Wait until the scan stands upright.")
        found = stood.result
        floor = found["floor"]
        bench.making = ask(
            "scanning.make",
            {
                **source_of(revision),
                **to_json(state),
                "name": str(revision.body),
                "panels": revision.panels.sha256 if revision.panels else "",
                "rotation": found["rotation"],
                "shift_mm": found["shift_mm"],
                "plane": [floor["normal"], floor["offset_mm"]] if floor["normal"] else None,
            },
            who=who,
        )
        bench.made = None
        bench.save(update_fields=["making", "made"])
        write_event(
            "scan.panels-asked",
            f"Panels are made of what was traced on {revision}.",
            who=who,
            after={"revision": revision.pk, "step": bench.current_id},
        )
    return bench


def fill(bench: Bench) -> Bench:
    """Take over the panels that were made, as a new revision; doing it again changes nothing."""
    made = bench.making
    if bench.made_id or made is None or made.state != Work.DONE or made.result is None:
        return bench
    with transaction.atomic():
        held = Bench.objects.select_for_update(of=("self",)).get(pk=bench.pk)
        if held.made_id is None:
            kept = StoredFile.objects.in_bulk(
                [made.result["scan"], made.result["panels"]], field_name="sha256"
            )
            held.made = add_revision(
                bench.revision.body,
                scan=kept[made.result["scan"]],
                unit="mm",
                panels=kept[made.result["panels"]],
                who=made.asked_by,
            )
            held.save(update_fields=["made"])
    bench.made = held.made
    return bench
