"""The shop's steps as the owner edits them; an order that the facts of the trade forbid is refused.

A change touches templates only: steps of cars whose bay is planned stay as they were planned.
"""

from typing import Any, Final

from django.utils.text import slugify

from layflat.base import InputError
from layflat.web.gates.models import StepTemplate
from layflat.web.gates.order import what_is_wrong
from layflat.web.gates.usual import templates
from layflat.web.people.models import Person
from layflat.web.record.models import Event, write_event

KIND: Final = "gates.template"
FIELDS: Final = (
    "title",
    "words",
    "caution",
    "kind",
    "zone",
    "condition",
    "needs",
    "rest_s",
    "dwell_least_s",
    "dwell_most_s",
)
"""What is edited; the key stays, the place is moved."""
_KEPT: Final = (*FIELDS, "position", "is_retired")
_MOST_KEY: Final = 40


def locked_templates() -> list[StepTemplate]:
    """All templates; nobody else changes any until the transaction ends."""
    templates()
    return list(StepTemplate.objects.select_for_update())


def save_template(key: str, values: dict[str, Any], *, seen: int, who: Person) -> StepTemplate:
    """Save one template as it was edited; call it in a transaction.

    Args:
        key: of the template; "" for a new one, which goes to the end of what it needs.
        values: of `FIELDS`, clean.
        seen: the version that the person saw; 0 for a new one.
        who: edits it.

    Raises:
        InputError: somebody was quicker, there is no such template, or the steps would make no
            order of work.
    """
    rows = locked_templates()
    if not key:
        made = StepTemplate(key=_new_key(values["title"], rows), **values)
        made.position = _place_for(made, rows)
        _make_room(rows, made.position)
        _check([*rows, made])
        for row in rows:
            row.save(update_fields=["position"])
        made.save()
        _tell(f"Step “{made.title}” was added.", made, {}, _values(made), who)
        return made
    row = _found(rows, key)
    if row.version != seen:
        raise InputError(
            f"Somebody changed “{row.title}” meanwhile; what it says now stands below, your words "
            "are in the form."
        )
    before = _values(row)
    for name in FIELDS:
        setattr(row, name, values[name])
    after = _values(row)
    changed = [name for name in _KEPT if before[name] != after[name]]
    if not changed:
        return row
    _check(rows)
    _keep(row)
    _tell(
        f"Step “{row.title}” was changed.",
        row,
        {name: before[name] for name in changed},
        {name: after[name] for name in changed},
        who,
    )
    return row


def move_template(key: str, *, up: bool, who: Person) -> None:
    """Move a template past its neighbour; call it in a transaction.

    Raises:
        InputError: there is nothing to move past, or one of both needs the other.
    """
    rows = locked_templates()
    row = _found(rows, key)
    used = [one for one in rows if not one.is_retired]
    place = used.index(row) if row in used else -1
    other_place = place - 1 if up else place + 1
    if place < 0 or not 0 <= other_place < len(used):
        raise InputError(f"“{row.title}” is {'first' if up else 'last'} already.")
    other = used[other_place]
    before = row.position
    row.position, other.position = other.position, row.position
    _check(rows)
    other.save(update_fields=["position"])
    _keep(row)
    _tell(
        f"Step “{row.title}” was moved {'before' if up else 'after'} “{other.title}”.",
        row,
        {"position": before},
        {"position": row.position},
        who,
    )


def retire_template(key: str, *, retired: bool, who: Person) -> StepTemplate:
    """Have a template no longer, or again, be part of new plans; call it in a transaction.

    Raises:
        InputError: the other steps would make no order of work without it, or with it.
    """
    rows = locked_templates()
    row = _found(rows, key)
    if row.is_retired == retired:
        return row
    row.is_retired = retired
    _check(rows)
    _keep(row)
    words = "no longer belongs to new plans" if retired else "belongs to new plans again"
    _tell(
        f"Step “{row.title}” {words}.",
        row,
        {"is_retired": not retired},
        {"is_retired": retired},
        who,
    )
    return row


def put_back(event: Event, *, who: Person) -> StepTemplate:
    """Undo a change of a template that nobody changed again; call it in a transaction.

    Raises:
        InputError: it is no such change, the same was changed since, or the steps would make no
            order of work.
    """
    before, after = event.before or {}, event.after or {}
    if event.kind != KIND or not before.get("values"):
        raise InputError("This cannot be put back.")
    rows = locked_templates()
    row = _found(rows, after["template"])
    now = _values(row)
    if any(now[name] != value for name, value in after["values"].items()):
        raise InputError(f"“{row.title}” has been changed again since; edit it instead.")
    if "position" in before["values"]:
        other = next((o for o in rows if o.position == before["values"]["position"]), None)
        if other is not None:
            other.position = row.position
            other.save(update_fields=["position"])
    for name, value in before["values"].items():
        setattr(row, name, value)
    _check(rows)
    _keep(row)
    _tell(f"Step “{row.title}” was put back.", row, after["values"], before["values"], who)
    return row


def changes() -> list[Event]:
    """The newest changes of templates, the newest first."""
    return list(Event.objects.filter(kind=KIND).order_by("-pk")[:10])


def _found(rows: list[StepTemplate], key: str) -> StepTemplate:
    for row in rows:
        if row.key == key:
            return row
    raise InputError("There is no such step; open the page anew.")


def _check(rows: list[StepTemplate]) -> None:
    wrong = what_is_wrong(rows)
    if wrong:
        raise InputError(wrong)


def _keep(row: StepTemplate) -> None:
    row.version += 1
    row.save()


def _values(row: StepTemplate) -> dict[str, Any]:
    return {name: getattr(row, name) for name in _KEPT}


def _new_key(title: str, rows: list[StepTemplate]) -> str:
    stem = slugify(title)[: _MOST_KEY - 4] or "step"
    taken = {row.key for row in rows}
    names = [stem, *(f"{stem}-{count}" for count in range(2, len(taken) + 3))]
    return next(name for name in names if name not in taken)


def _place_for(made: StepTemplate, rows: list[StepTemplate]) -> int:
    """Right after the last step that it needs; at the very beginning when it needs none."""
    return max((row.position for row in rows if row.key in made.needs), default=0) + 1


def _make_room(rows: list[StepTemplate], place: int) -> None:
    for row in rows:
        row.position += row.position >= place


def _tell(
    sentence: str,
    row: StepTemplate,
    before: dict[str, Any],
    after: dict[str, Any],
    who: Person,
) -> None:
    write_event(
        KIND,
        sentence,
        who=who,
        before={"values": before},
        after={"template": row.key, "values": after, "version": row.version},
    )
