"""A layout that a plan of several jobs proposes, kept as if its search had found it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from layflat.base import InputError
from layflat.web.cutting.keeping import keep
from layflat.web.cutting.models import Layout, Member, next_number, number_in_layout
from layflat.web.cutting.patterns import read_patterns
from layflat.web.cutting.shapes import kept_shapes
from layflat.web.cutting.sharing import pattern_files_of, tell
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Person
from layflat.web.stock.models import Roll

_MOST_PIECES: Final = 1000


@dataclass(frozen=True, kw_only=True)
class Part:
    """What one job has of a planned layout.

    Attributes:
        job: locked.
        letter: of the job in the plan, one of a kind.
        pieces: numbers of its pieces; they need film, and no search lays them out.
    """

    job: Job
    letter: str
    pieces: tuple[int, ...]


def keep_planned_layout(
    parts: Sequence[Part], roll: Roll, *, found: dict[str, Any], plan: str, who: Person | None
) -> Layout:
    """Enter a layout as found and chosen; its programs are made, and check it.

    Call it in a transaction, on locked jobs and a locked roll.

    Args:
        parts: what each of its jobs has of it, at least one; the layout becomes the first one's,
            and the others share it.
        roll: that the pieces lie on.
        found: the layout as `layflat.web.cutting.stored` keeps it; where jobs share it, pieces bear
            the numbers of `number_in_layout`.
        plan: what proposes it, within a sentence.
        who: keeps it.

    Raises:
        InputError: a customer has accepted nothing, or a pattern is not there.
        FitError: it is longer than what is free of the roll.
    """
    job, is_shared = parts[0].job, len(parts) > 1
    if any(max(part.pieces) >= _MOST_PIECES for part in parts):
        raise InputError(f"Jobs with piece {_MOST_PIECES} and more cannot share a section.")
    layout = Layout.objects.create(
        job=job,
        number=next_number(job),
        outcome=accepted_outcome(job),
        roll=roll,
        pieces=[
            number_in_layout(part.letter if is_shared else "", number)
            for part in parts
            for number in part.pieces
        ],
        so_far=found,
        made_by=who,
    )
    if is_shared:
        Member.objects.bulk_create(
            Member(
                layout=layout,
                job=part.job,
                outcome=accepted_outcome(part.job),
                letter=part.letter,
                pieces=list(part.pieces),
            )
            for part in parts
        )
    layout.shapes = kept_shapes(read_patterns(pattern_files_of(layout)))
    layout.save(update_fields=["shapes"])
    others = ", ".join(part.job.number for part in parts[1:])
    tell(
        "cutting.planned",
        f"Layout {layout.number} on {roll}, lot {roll.lot}, as {plan} proposes it"
        + (f", shared with {others}." if is_shared else "."),
        layout,
        who=who,
        after={"layout": layout.pk, "roll": roll.pk, "pieces": layout.pieces},
    )
    keep(layout, who=who)
    return layout
