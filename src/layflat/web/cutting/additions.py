"""What parts above this one add to a section of a kept layout.

This part knows nothing of them; each enters what is its own when it starts (`AppConfig.ready`).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from layflat.web.cutting.models import Layout, Section


@dataclass(frozen=True, kw_only=True)
class Addition:
    """What a part adds.

    Attributes:
        template: shown in each section's sheet, given `section` and what `read` found for it as
            `added`.
        read: finds for the sections of a layout, by their keys, what the template shows.
        why_busy: says why a section must stay as it is just now, in a sentence; "" where it need
            not.
        was_begun: whether anything of a section was ever sent to be cut.
        when_kept: told of every layout that is kept, its job locked, in the same transaction.
    """

    template: str
    read: Callable[[Iterable[Section]], dict[int, Any]]
    why_busy: Callable[[Section], str]
    was_begun: Callable[[Section], bool]
    when_kept: Callable[[Layout], None]


_additions: dict[Addition, None] = {}


def add(addition: Addition) -> None:
    """Show something in every section's sheet; entered again it is held once."""
    _additions.setdefault(addition)


def added_to(sections: Iterable[Section]) -> dict[int, list[tuple[str, Any]]]:
    """For each section, by its key, the templates that others add and what they show."""
    rows = list(sections)
    read = [(addition.template, addition.read(rows)) for addition in _additions] if rows else []
    return {row.pk: [(name, found.get(row.pk)) for name, found in read] for row in rows}


def tell_kept(layout: Layout) -> None:
    """Tell all that a layout is kept; call it in the transaction that keeps it."""
    for one in _additions:
        one.when_kept(layout)


def why_busy(section: Section) -> str:
    """Why a section must stay as it is just now, or ""."""
    return next((why for one in _additions if (why := one.why_busy(section))), "")


def was_begun(section: Section) -> bool:
    """Whether some of a section's film may be cut already, though nobody ticked it yet."""
    return section.begun_at is not None or any(one.was_begun(section) for one in _additions)
