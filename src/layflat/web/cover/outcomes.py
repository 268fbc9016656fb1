"""From a cover to what computing it found: asked for, taken over once, told from what is stale."""

from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F, OuterRef, Q, Subquery

from layflat.base import InputError
from layflat.web.corrections.reading import facts_for
from layflat.web.cover.choices import from_json, to_json
from layflat.web.cover.compute import KEEPS, TASK
from layflat.web.cover.kept_pieces import kept_facts
from layflat.web.cover.measure import cover_inputs
from layflat.web.cover.models import Cover, Outcome, Piece
from layflat.web.cover.order import LAYOUT_S
from layflat.web.cover.price import film_words
from layflat.web.files.models import StoredFile
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import the_shop
from layflat.web.record.models import write_event
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import ask

_FILES = ("layout", "report")
_SURFACE_FILES = ("shown", "lines", "picture")
"""Files that results do not have whose every piece is a kept pattern."""
_PIECE_FILES = ("flat", "map", "pattern")
_LATER_FILES = ("surface", "plan")
"""Files that pieces do not have which are kept patterns, or were found before these were kept."""
_PIECE_VALUES = (
    "number",
    "panel",
    "title",
    "is_part",
    "area_mm2",
    "covered",
    "effort",
    "stretch",
    "compression",
    "stretch_99",
    "compression_99",
    "over_stretch",
    "over_finger",
    "details",
    "warnings",
)


def ask_for(cover: Cover, *, who: Person | None) -> Computation:
    """Ask for the real computation of a cover as it is now; answers at once.

    Covers that want the same share one computation, whichever jobs they are of. What was found
    for the cover before stands until this is done.

    Raises:
        InputError: nothing is covered, or the body is not prepared; nothing was changed.
    """
    with transaction.atomic():
        held = Cover.objects.select_for_update().get(pk=cover.pk)
        choices = from_json(held.choices)
        if not choices.panels:
            raise InputError("Nothing is covered yet; choose a panel first.")
        inputs = {
            **cover_inputs(held.body, choices),
            "choices": to_json(choices),
            "roll_width_mm": the_shop().roll_width_mm,
            "seconds": LAYOUT_S if settings.LAYOUT_S is None else settings.LAYOUT_S,
            "keeps": KEEPS,
        }
        if kept := kept_facts(choices, body=held.body.body_id):
            inputs["kept"] = kept
        names = [choice.panel for choice in choices.panels]
        if corrections := facts_for(held.body.body, names):
            inputs["corrections"] = corrections
        held.computation = ask(TASK, inputs, who=who)
        # Not `changed_at`: the cover is as it was.
        held.save(update_fields=["computation"])
    cover.computation = held.computation
    return held.computation


def fill(cover: Cover) -> Outcome | None:
    """Take over what the computation that was asked for last found, once it is done.

    Doing it again changes nothing, nor does another who does it at the same moment.

    Returns:
        the outcome of that computation; None where it is not done, or failed, or was stopped.
    """
    made = cover.computation
    if made is None or made.state != State.DONE or made.result is None:
        return None
    found = newest(cover)
    if found is not None and found.computation_id == made.pk:
        return found
    try:
        with transaction.atomic():
            # The row of the cover is held, so that two cannot take one number; the job before it,
            # as everybody does who changes covers, so that no two wait for each other.
            Job.objects.select_for_update().get(pk=cover.job_id)
            held = (
                Cover.objects.select_for_update(of=("self",))
                .select_related("computation", "job")
                .get(pk=cover.pk)
            )
            found = newest(held)
            if held.computation_id != made.pk or (
                found is not None and found.computation_id == made.pk
            ):
                return found if found and found.computation_id == made.pk else None
            return _written(held, made, number=found.number + 1 if found else 1)
    except IntegrityError:
        # A database that holds no rows let another be quicker.
        return newest(cover)


def take_over(job: Job) -> None:
    """Take over every computation of a job's covers that is done, also when nobody looked since.

    One query where nothing waits; see `fill`.
    """
    last = Outcome.objects.filter(cover=OuterRef("pk")).order_by("-number").values("computation")
    waiting = (
        Cover.objects.filter(job=job, computation__state=State.DONE)
        .select_related("computation")
        .annotate(last=Subquery(last[:1]))
        .filter(Q(last=None) | ~Q(last=F("computation")))
    )
    for cover in waiting:
        fill(cover)


def newest(cover: Cover) -> Outcome | None:
    """The outcome that counts, with its computation, or None where there is none."""
    return cover.outcomes.select_related("computation").order_by("-number").first()


def is_current(cover: Cover, outcome: Outcome, *, shop: Shop | None = None) -> bool:
    """Whether *outcome* is for the cover as it is now: its choices, its body, the shop's roll.

    One that was computed before patterns were kept cannot be cut, and so is not.

    Args:
        cover: as it is now.
        outcome: of it.
        shop: if the caller has it already.
    """
    inputs: dict[str, Any] = outcome.computation.inputs
    roll = (shop or the_shop()).roll_width_mm
    return (
        inputs.get("keeps") == KEEPS
        and _same(outcome.choices, cover.choices)
        and outcome.roll_width_mm == roll
        and _body_of(cover) == {key: inputs.get(key) for key in ("light", "panels")}
    )


def _same(one: Any, other: Any) -> bool:
    return one == other or to_json(from_json(one)) == to_json(from_json(other))


def _body_of(cover: Cover) -> dict[str, Any]:
    try:
        inputs = cover_inputs(cover.body, from_json(cover.choices))
    except InputError:
        return {}
    return {key: inputs[key] for key in ("light", "panels")}


def _written(cover: Cover, made: Computation, *, number: int) -> Outcome:
    """The rows of what *made* found, and the event."""
    result: dict[str, Any] = made.result or {}
    wanted = {result[key] for key in _FILES}
    wanted |= {result[key] for key in _SURFACE_FILES if key in result}
    wanted |= {piece[key] for piece in result["pieces"] for key in _PIECE_FILES}
    wanted |= {piece[key] for piece in result["pieces"] for key in _LATER_FILES if key in piece}
    kept = StoredFile.objects.in_bulk(list(wanted), field_name="sha256")
    outcome = Outcome.objects.create(
        cover=cover,
        number=number,
        choices=made.inputs["choices"],
        computation=made,
        roll_width_mm=result["roll_width_mm"],
        film_mm=result["film_mm"],
        bound_mm=result["bound_mm"],
        minutes=result["minutes"],
        notes=result["notes"],
        **{key: kept[result[key]] for key in _FILES},
        **{key: kept[result[key]] for key in _SURFACE_FILES if key in result},
    )
    Piece.objects.bulk_create(
        Piece(
            outcome=outcome,
            **{key: piece[key] for key in _PIECE_VALUES},
            **{key: kept[piece[key]] for key in _PIECE_FILES},
            **{key: kept[piece[key]] for key in _LATER_FILES if key in piece},
        )
        for piece in result["pieces"]
    )
    count = len(result["pieces"])
    write_event(
        "cover.computed",
        f"“{cover.title}” computed: {film_words(result['film_mm'], the_shop())} of film in {count} "
        f"piece{'' if count == 1 else 's'}.",
        who=None,
        job=cover.job,
        after={
            "cover": cover.pk,
            "outcome": number,
            "film_mm": result["film_mm"],
            "roll_width_mm": result["roll_width_mm"],
        },
    )
    return outcome
