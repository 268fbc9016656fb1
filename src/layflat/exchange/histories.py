"""Corrections between shops: told apart, given without jobs, added to those that are here."""

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import replace

from layflat.base import InputError
from layflat.pattern import pattern_json
from layflat.revise import History, Revision, rebased, same_shape

MOST_REVISIONS = 60
"""Of another shop, that are brought onto one's own pattern at once; each takes a moment."""
_LEAST_SIGNS = 4
"""Shorter names of cars are not looked for in sentences; they may be any number."""


def mark(revision: Revision) -> str:
    """What tells a revision apart, whatever its number, its piece and its cars are called."""
    value = pattern_json(replace(revision.pattern, name="piece"))
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode()).hexdigest()


def chain(history: History) -> tuple[Revision, ...]:
    """The revisions that the current one follows, from the first to itself."""
    found: list[Revision] = []
    number = history.current
    while number:
        found.append(history.revision(number))
        number = found[-1].parent
    return tuple(reversed(found))


def require_whole(history: History) -> None:
    """Nothing if each revision follows one before it, and so do its notes.

    Raises:
        InputError: one does not.
    """
    numbers = {0}
    for one in history.revisions:
        if one.parent not in numbers or any(note.revision not in numbers for note in one.notes):
            raise InputError(
                f"Revision {one.number} of “{history.base.name}” rests on one that is not there."
            )
        numbers.add(one.number)


def without_jobs(history: History, name: str) -> History:
    """The history as it may leave the shop: cars are numbered, and named by no job.

    Args:
        history: as the shop has it.
        name: of the piece; base and revisions take it.
    """
    base = replace(history.base, name=name)
    revisions = tuple(
        replace(one, base=base, pattern=replace(one.pattern, name=name))
        for one in history.revisions
    )
    return _numbered(History(base, revisions, history.current), "no.")


def of_shop(history: History, shop: str) -> History:
    """The history as the shop that receives it keeps it: its cars are those of *shop*."""
    return _numbered(history, f"{shop} no.")


def joined(ours: History, theirs: History) -> History:
    """One's own revisions, then those of another shop on one's own base pattern.

    Those that are in the own line of the current revision already are not added again; nor are
    those that their current one does not rest on. The current revision is theirs.

    Raises:
        InputError: their pattern is that of another piece, or it rests on too many revisions; see
            `layflat.revise.rebased`.
    """
    needed = _needed(theirs)
    if len(needed) > MOST_REVISIONS:
        raise InputError(
            f"“{theirs.base.name}” rests on {len(needed)} revisions; {MOST_REVISIONS} are the most "
            "that are joined with one's own."
        )
    known = (
        {mark(one): one.number for one in chain(ours)} if same_shape(ours.base, theirs.base) else {}
    )
    last = max((one.number for one in ours.revisions), default=0)
    numbers, added = {0: 0}, []
    for one, there in zip(needed, rebased(needed, ours.base), strict=True):
        here = known.get(mark(one))
        if here is None:
            here = last = last + 1
            notes = tuple(replace(note, revision=numbers[note.revision]) for note in there.notes)
            added.append(replace(there, number=here, parent=numbers[one.parent], notes=notes))
        numbers[one.number] = here
    return History(ours.base, (*ours.revisions, *added), numbers[theirs.current])


def _needed(history: History) -> list[Revision]:
    """The current revision and all that it follows, or that its notes were made on, in order."""
    wanted = {history.current}
    for one in reversed(history.revisions):
        if one.number in wanted:
            wanted |= {one.parent, *(note.revision for note in one.notes)}
    return [one for one in history.revisions if one.number in wanted]


def _numbered(history: History, car: str) -> History:
    """The history with its cars called *car* 1, 2 and so on, as they were noted first."""
    noted = [note for one in history.revisions for note in one.notes]
    weighed = [name for one in history.revisions for name in one.scatter.weights]
    all_cars = dict.fromkeys((*(note.car for note in noted), *weighed))
    cars = {name: f"{car} {i}" for i, name in enumerate(all_cars, 1)}
    notes: dict[tuple[str, str], str] = {}
    counts: dict[str, int] = {}
    for note in noted:
        if (note.car, note.name) not in notes:
            counts[note.car] = count = counts.get(note.car, 0) + 1
            notes[note.car, note.name] = f"{cars[note.car]} note {count}"
    said = _Words(cars | {name: new for (_, name), new in notes.items()})
    revisions = tuple(
        replace(
            one,
            notes=tuple(
                replace(note, car=cars[note.car], name=notes[note.car, note.name])
                for note in one.notes
            ),
            scatter=replace(
                one.scatter,
                weights={cars[name]: weight for name, weight in one.scatter.weights.items()},
            ),
            said=tuple(said.renamed(text) for text in one.said),
        )
        for one in history.revisions
    )
    return replace(history, revisions=revisions)


class _Words:
    """Names that are told otherwise in sentences."""

    def __init__(self, names: Mapping[str, str]) -> None:
        self._names = {old: new for old, new in names.items() if len(old) >= _LEAST_SIGNS}
        longest_first = sorted(self._names, key=len, reverse=True)
        self._pattern = re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest_first))})(?!\w)")

    def renamed(self, text: str) -> str:
        """The sentence with the new names."""
        return self._pattern.sub(lambda hit: self._names[hit[0]], text) if self._names else text
