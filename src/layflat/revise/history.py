"""The revisions of one pattern: the next one, and the way back."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from layflat.base import InputError
from layflat.pattern import Pattern
from layflat.revise.records import Note
from layflat.revise.revision import Revision, revise


@dataclass(frozen=True, eq=False)
class History:
    """A pattern with all its revisions.

    Attributes:
        base: the pattern before any.
        revisions: in the order of their numbers, those that were taken back too.
        current: number of the one that is cut now; 0 for the base.
    """

    base: Pattern
    revisions: tuple[Revision, ...] = ()
    current: int = 0

    def pattern(self, number: int | None = None) -> Pattern:
        """The pattern of a revision, by default of the current one.

        Raises:
            InputError: there is no such revision.
        """
        wanted = self.current if number is None else number
        return self.base if wanted == 0 else self.revision(wanted).pattern

    def revision(self, number: int) -> Revision:
        """The revision with this number, from 1.

        Raises:
            InputError: there is no such revision.
        """
        found = next((each for each in self.revisions if each.number == number), None)
        if found is None:
            raise InputError(f"There is no revision {number} of “{self.base.name}”.")
        return found

    def notes(self) -> tuple[Note, ...]:
        """The notes that the current revision rests on."""
        return () if self.current == 0 else self.revision(self.current).notes

    def revised(self, notes: Sequence[Note], *, reach_mm: float | None = None) -> "History":
        """With one revision more, on the current one's notes and these.

        Raises:
            InputError: see `revise`.
        """
        following = revise(
            self.base,
            (*self.notes(), *notes),
            earlier=self.revisions,
            parent=self.current,
            reach_mm=reach_mm,
        )
        return replace(self, revisions=(*self.revisions, following), current=following.number)

    def taken_back(self) -> "History":
        """With the current revision taken back: its parent is cut again, and it stays on record.

        Raises:
            InputError: the base is cut now.
        """
        if self.current == 0:
            raise InputError(f"“{self.base.name}” has no revision that could be taken back.")
        return replace(self, current=self.revision(self.current).parent)
