"""Editing what a job says, by two people at once if need be: nothing is overwritten unseen."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django import forms
from django.db.models import Model

from layflat.base import InputError
from layflat.web.jobs.forms import CustomerForm, HoldForm, VehicleForm, WishesForm
from layflat.web.jobs.merging import Merge, merged
from layflat.web.jobs.models import Job, Vehicle
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event, write_event

KIND: Final = "job.changed"


@dataclass(frozen=True)
class Part:
    """A part of a job that is edited by itself.

    Attributes:
        name, title: in addresses and for people.
        form: a model form.
        roles: who may edit it, besides the owner.
    """

    name: str
    title: str
    form: type[Any]
    roles: tuple[Role, ...]

    def target(self, job: Job, *, lock: bool = False) -> Model:
        """The row that it edits, read anew."""
        model: type[Any] = self.form._meta.model
        ids = {Job: job.pk, Vehicle: job.vehicle_id}
        pk = ids.get(model) or job.vehicle.customer_id
        rows = model.objects.select_for_update() if lock else model.objects
        found: Model = rows.get(pk=pk)
        return found


PARTS: Final = {
    part.name: part
    for part in (
        Part("wishes", "Wishes and days", WishesForm, (Role.COUNTER,)),
        Part("hold", "Who has it", HoldForm, (Role.COUNTER, Role.INSTALLER)),
        Part("vehicle", "Vehicle", VehicleForm, (Role.COUNTER,)),
        Part("customer", "Customer", CustomerForm, (Role.COUNTER,)),
    )
}


@dataclass(frozen=True)
class Change:
    """What came of an edit that was saved.

    Attributes:
        names: labels of the fields that changed.
        theirs: labels that somebody else changed meanwhile and that were kept.
        clean: the saved form.
    """

    names: tuple[str, ...]
    theirs: tuple[str, ...]
    clean: Any


def values_of(form: Any) -> dict[str, str]:
    """What an unbound form shows, as the strings that a browser would send back."""
    return {name: _plain(form[name].value()) for name in form.fields}


def sent_values(form: Any, data: Mapping[str, str], *, prefix: str = "") -> dict[str, str]:
    """What a browser sent for the fields of a form."""
    return {name: _plain(data.get(prefix + name, "")) for name in form.fields}


def _plain(value: object) -> str:
    return "" if value is None else str(value).replace("\r\n", "\n").strip()


def merge_for(part: Part, row: Model, data: Mapping[str, str]) -> Merge:
    """Bring what a person sent together with what the row says by now.

    Args:
        part: which part.
        row: locked.
        data: the fields, the same with "seen-" before them, and the "version" that was seen.
    """
    now = part.form(instance=row)
    current = values_of(now)
    is_fresh = data.get("version", "") == str(getattr(row, "version"))  # noqa: B009
    seen = current if is_fresh else sent_values(now, data, prefix="seen-")
    return merged(seen=seen, current=current, mine=sent_values(now, data))


def save_change(part: Part, job: Job, row: Any, merge: Merge, *, who: Person | None) -> Change:
    """Save a merge without clashes; call it on locked rows in a transaction.

    Returns:
        What changed; `clean` holds the errors when the form is not valid and nothing was saved.
    """
    before = values_of(part.form(instance=row))
    form = part.form(merge.values, instance=row)
    if not form.is_valid():
        return Change((), (), form)
    changed = [name for name in form.fields if name in form.changed_data]
    labels = tuple(label_of(form, name) for name in changed)
    if changed:
        form.save(commit=False)
        row.version += 1
        row.save()
        after = values_of(part.form(instance=row))
        write_event(
            KIND,
            f"{part.title}: {', '.join(label.lower() for label in labels)} changed.",
            who=who,
            job=job,
            before={"part": part.name, "values": {name: before[name] for name in changed}},
            after={
                "part": part.name,
                "values": {name: after[name] for name in changed},
                "version": row.version,
            },
        )
    theirs = tuple(label_of(form, name) for name in merge.theirs)
    return Change(labels, theirs, form)


def put_back(event: Event, job: Job, *, who: Person | None) -> None:
    """Undo an edit, if nobody has changed the same since; call it in a transaction.

    Raises:
        InputError: it is no edit, or the same has been changed again.
    """
    before, after = event.before, event.after
    if event.kind != KIND or event.job_id != job.pk or before is None or after is None:
        raise InputError("This cannot be put back.")
    part = PARTS[before["part"]]
    row = part.target(job, lock=True)
    current = values_of(part.form(instance=row))
    old: dict[str, str] = before["values"]
    new: dict[str, str] = after["values"]
    if any(current[name] != value for name, value in new.items()):
        raise InputError("It has been changed again since; edit it instead.")
    merge = Merge({**current, **old}, (), (), tuple(old))
    change = save_change(part, job, row, merge, who=who)
    if change.clean.errors:
        raise InputError("The earlier text is no longer possible; edit it instead.")


def label_of(form: Any, name: str) -> str:
    """The label of a field, as people read it."""
    return str(form[name].label)


def shown_value(form: Any, name: str, value: str) -> str:
    """A value as people read it: names instead of row numbers."""
    field = form.fields[name]
    if value and isinstance(field, forms.ModelChoiceField):
        rows: Any = field.queryset
        return str(rows.filter(pk=int(value)).first() or "")
    return value


def changed_by(job: Job, part: Part, *, version: str, name: str) -> Event | None:
    """The newest edit of a field after a version that somebody saw."""
    seen = int(version) if version.isdecimal() else 0
    for event in job.events.filter(kind=KIND).order_by("-id")[:50]:
        after = event.after or {}
        is_later = after.get("part") == part.name and after.get("version", 0) > seen
        if is_later and name in after["values"]:
            return event
    return None
