"""Starts from other cars: what is asked, and keeping a start."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from layflat.base import InputError
from layflat.web.bodies.models import Body
from layflat.web.patterns.keeping import keep, kept_pattern
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.people.models import Person
from layflat.web.shaping.names import Wanted
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import ask

TASK: Final = "shaping.propose"
_MOST_KNOWN: Final = 400


def known_elsewhere(body: Body) -> list[KeptRevision]:
    """The newest revisions of other bodies' patterns, the newest first."""
    others = KeptRevision.objects.filter(kept__is_retired=False).exclude(kept__body=body)
    found: dict[int, KeptRevision] = {}
    rows = others.select_related("kept__body", "pattern").order_by("kept_id", "-number")
    for revision in rows:
        found.setdefault(revision.kept_id, revision)
    return sorted(found.values(), key=lambda row: -row.pk)[:_MOST_KNOWN]


def ask_for(template: KeptRevision, *, may_mirror: bool, who: Person | None) -> Computation:
    """Ask for the patterns of other cars that are nearest to a template.

    Raises:
        InputError: no other body has a pattern.
    """
    body = template.kept.body
    known = known_elsewhere(body)
    if not known:
        raise InputError("No other vehicle has a kept pattern to start from.")
    inputs = {
        "body": body.pk,
        "template": template.pattern.sha256,
        "revision": template.pk,
        "mirror": may_mirror,
        "known": [[row.pk, row.pattern.sha256, f"{row.kept} of {row.kept.body}"] for row in known],
    }
    return ask(TASK, inputs, who=who)


def proposals_of(computation: Computation) -> Sequence[Mapping[str, Any]]:
    """What was found, the nearest first; empty while there is nothing."""
    if computation.state != State.DONE or not isinstance(computation.result, dict):
        return ()
    found: Sequence[Mapping[str, Any]] = computation.result["proposals"]
    return found


def keep_start(
    computation: Computation,
    which: int,
    names: Sequence[str],
    wanted: Wanted,
    *,
    who: Person | None,
) -> KeptRevision:
    """Keep a proposal, carried over by points that are the same, as a pattern of the body.

    Args:
        computation: that found it.
        which: the proposal, from 0.
        names: of the pairs of points that a person left in.
        wanted: as what it is kept.

    Raises:
        InputError: there is no such proposal, or the points fight; says which.
        OutputError: the data folder cannot be written.
    """
    from layflat.revise import Alignment, Known, Proposal, start_from

    found = proposals_of(computation)
    if not 0 <= which < len(found):
        raise InputError("Choose one of the proposals.")
    row = found[which]
    pairs = [pair for pair in row["pairs"] if pair["name"] in set(names)]
    lie = Alignment(
        turn_deg=row["turn_deg"],
        x_mm=row["x_mm"],
        y_mm=row["y_mm"],
        mirrored=row["mirrored"],
        rms_mm=row["rms_mm"],
        most_mm=row["most_mm"],
        stations_mm=np.zeros(0),
        misfit_mm=np.zeros(0),
        landmarks_mm={},
    )
    marks = {pair["name"]: tuple(pair["known"]) for pair in pairs}
    known = Known(row["label"], kept_pattern(row["pattern"]), marks)
    goals = {pair["name"]: tuple(pair["template"]) for pair in pairs}
    started = start_from(Proposal(known, lie), goals)
    body = Body.objects.get(pk=computation.inputs["body"])
    return keep(
        body,
        name=wanted.name,
        title=wanted.title,
        pattern=replace(started.pattern, name=wanted.name),
        origin=Origin.OTHER_CAR,
        exactness={
            "outline misses the template by, RMS": f"{row['rms_mm']:.1f} mm",
            "at most": f"{row['most_mm']:.1f} mm",
        },
        said=[row["sentence"], *started.said],
        source=None,
        who=who,
        based_on=KeptRevision.objects.filter(pk=row["revision"]).first(),
    )
