"""The shop's machines as the owner keeps them. Every change is an event."""

from typing import Final

from django.db.models import QuerySet

from layflat.base import InputError
from layflat.cut import Machine as Values
from layflat.cut import machine_toml
from layflat.send import read_address
from layflat.web.cutting.models import Section
from layflat.web.people.models import Person
from layflat.web.record.models import Event, write_event
from layflat.web.sending.models import OPEN, Machine, Sending
from layflat.web.sending.values import checked, read_values

KIND: Final = "sending.machine"
_MOST_NAME: Final = 60
_SHOWN: Final = 10
WORDS: Final = {
    "knife_offset_mm": "knife offset",
    "overcut_mm": "overcut",
    "force_g": "force",
    "scale_x": "scale along the roll",
    "scale_y": "scale across the roll",
    "skew": "skew",
    "walk": "walk",
    "max_width_mm": "widest roll",
    "max_section_mm": "longest section",
    "buffer_bytes": "buffer",
    "answers_position": "answers where it is",
    "send_force": "the program sets the force",
}
"""What is edited of a machine's values, and how people call it."""


def locked_machine(key: int) -> Machine:
    """A machine that nobody else changes until the transaction ends.

    Raises:
        InputError: there is none.
    """
    found = Machine.objects.select_for_update().filter(pk=key).first()
    if found is None:
        raise InputError("There is no such machine; open the page anew.")
    return found


def save_machine(
    row: Machine | None, *, name: str, address: str, values: Values, seen: int, who: Person | None
) -> Machine:
    """Add a machine, or change a locked one; call it in a transaction.

    Raises:
        InputError: it has no name or another's, somebody was quicker, or it is being sent to.
        SettingError: the address is none, or a value is out of its range.
    """
    name = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    if not name:
        raise InputError("Give the machine a name, as the shop calls it.")
    if len(name) > _MOST_NAME:
        raise InputError(f"Give the machine a name of at most {_MOST_NAME} characters.")
    others = Machine.objects.filter(name__iexact=name)
    if row is not None:
        others = others.exclude(pk=row.pk)
    if others.exists():
        raise InputError(f"There is a machine “{name}” already; number them.")
    address = str(read_address(address.strip())) if address.strip() else ""
    values = checked(values, name=name)
    if row is None:
        made = Machine.objects.create(name=name, address=address, values=machine_toml(values))
        sentence = f"The machine {name} was added, at {address or 'no address yet'}."
        write_event(KIND, sentence, who=who, after=_kept(made))
        return made
    if row.version != seen:
        raise InputError(
            f"Somebody changed {row.name} while you looked at it; open it anew and change it then."
        )
    if row.sendings.filter(state__in=OPEN).exists():
        raise InputError(f"{row.name} is cutting; change it once that has ended.")
    before = _kept(row)
    changes = _changes(row, name, address, values)
    if not changes:
        return row
    row.name, row.address, row.values = name, address, machine_toml(values)
    row.version += 1
    row.save()
    write_event(KIND, f"{name} was changed: {changes}.", who=who, before=before, after=_kept(row))
    return row


def retire(row: Machine, *, retired: bool, who: Person | None) -> None:
    """Use a locked machine no longer, or again.

    Raises:
        InputError: it is being sent to.
    """
    if row.is_retired == retired:
        return
    if retired and row.sendings.filter(state__in=OPEN).exists():
        raise InputError(f"{row.name} is cutting; put it away once that has ended.")
    row.is_retired = retired
    row.version += 1
    row.save(update_fields=["is_retired", "version"])
    words = "is no longer in use" if retired else "is in use again"
    write_event(KIND, f"The machine {row.name} {words}.", who=who, after=_kept(row))


def cut_in_one_go(row: Machine) -> QuerySet[Section]:
    """The sections that were sent to a machine to the end, nothing of them by another sending."""
    return Section.objects.filter(
        sendings__machine=row, sendings__state=Sending.State.DONE, sendings__goes_on=None
    ).distinct()


def changes_of(row: Machine) -> list[Event]:
    """What was changed of a machine last, the newest first."""
    rows = Event.objects.filter(kind=KIND, after__machine=row.pk).select_related("who")
    return list(rows.order_by("-id")[:_SHOWN])


def _kept(row: Machine) -> dict[str, object]:
    return {
        "machine": row.pk,
        "name": row.name,
        "address": row.address,
        "values": row.values,
        "version": row.version,
    }


def _changes(row: Machine, name: str, address: str, values: Values) -> str:
    was = read_values(row.values)
    found = [f"name {row.name} to {name}"] if name != row.name else []
    if address != row.address:
        found.append(f"address {row.address or 'none'} to {address or 'none'}")
    for key, words in WORDS.items():
        old, new = getattr(was, key), getattr(values, key)
        if old != new:
            found.append(f"{words} {_said(old)} to {_said(new)}")
    if not found and machine_toml(was) != machine_toml(values):
        found.append("other values of its file")
    return ", ".join(found)


def _said(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
