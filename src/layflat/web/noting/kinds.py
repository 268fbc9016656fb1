"""How a piece may fit, in the words of whoever laid it."""

from dataclasses import dataclass
from typing import Final

from layflat.revise import NoteKind


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of fit note.

    Attributes:
        kind: of the core.
        word: on the button.
        says: what it means, in a sentence.
        first, second: what its measures are called; "" for none.
        has_stretch: whether it may lie along a stretch of the edge.
        needs_stretch: whether it must.
    """

    kind: NoteKind
    word: str
    says: str
    first: str = ""
    second: str = ""
    has_stretch: bool = False
    needs_stretch: bool = False

    @property
    def name(self) -> str:
        """As forms send it."""
        return self.kind.value


KINDS: Final = (
    Kind(
        kind=NoteKind.SHORT,
        word="Too short",
        says="The film ends before it should here, square to its edge.",
        first="Short by",
        has_stretch=True,
    ),
    Kind(
        kind=NoteKind.OVER,
        word="Too long",
        says="The film reaches over here, square to its edge.",
        first="Over by",
        has_stretch=True,
    ),
    Kind(
        kind=NoteKind.CORNER,
        word="Excess at a corner",
        says="Too much film at a corner: over its one edge and over the other, counter-clockwise.",
        first="Over the edge before it",
        second="Over the edge after it",
    ),
    Kind(
        kind=NoteKind.FINGER,
        word="Finger",
        says="Too much film along this stretch of the edge; it stands up. Say how long it is.",
        first="Film too much",
        has_stretch=True,
        needs_stretch=True,
    ),
    Kind(
        kind=NoteKind.SHIFT,
        word="Cut-out off",
        says="This cut-out should lie elsewhere, on the picture; below 0 is left, down.",
        first="To the right",
        second="Upward",
    ),
    Kind(
        kind=NoteKind.FITS,
        word="Fits",
        says="It fits here. That counts as much as what does not fit.",
        has_stretch=True,
    ),
)
"""In the order of the form."""


def kind_named(name: str) -> Kind | None:
    """The kind with this name, or None."""
    return next((one for one in KINDS if one.name == name), None)
