"""Cuts and seams of a panel: taken as they were proposed, moved, refused, proposed again."""

from dataclasses import dataclass, replace
from typing import Any, Final

from layflat.base import InputError
from layflat.web.cover.choices import MOST_RELIEFS, MOST_SEAMS, Choices, PanelChoice, Point
from layflat.web.cover.choosing import Changed, covered_choice, short_word
from layflat.web.cover.panels import PanelFacts

Path = tuple[Point, ...]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What is cut along a path.

    Attributes:
        taken, refused: the fields of a choice that hold the paths.
        word: what one is called, "… cut" or "… seam".
        most: how many a panel may have.
        instead: what to do where it has as many.
    """

    taken: str
    refused: str
    word: str
    most: int
    instead: str

    def paths(self, choice: PanelChoice) -> tuple[Path, ...]:
        """The paths that are taken."""
        found: tuple[Path, ...] = getattr(choice, self.taken)
        return found

    def refusals(self, choice: PanelChoice) -> tuple[Path, ...]:
        """The paths that are refused."""
        found: tuple[Path, ...] = getattr(choice, self.refused)
        return found

    def counted(self, count: int) -> str:
        """So many, in words: "1 seam", "2 seams"."""
        return f"{count} {self.word}{'' if count == 1 else 's'}"

    def of(
        self, choice: PanelChoice, *, taken: tuple[Path, ...], refused: tuple[Path, ...]
    ) -> PanelChoice:
        """*choice* with other paths."""
        changes: dict[str, Any] = {self.taken: taken, self.refused: refused}
        return replace(choice, **changes)


RELIEF: Final = Kind(
    taken="reliefs",
    refused="refused_reliefs",
    word="relief cut",
    most=MOST_RELIEFS,
    instead="give one up first, or cover it with several pieces",
)
SEAM: Final = Kind(
    taken="seams",
    refused="refused_seams",
    word="seam",
    most=MOST_SEAMS,
    instead="give one up first",
)
KINDS: Final = (RELIEF, SEAM)


def take(choices: Choices, panel: PanelFacts, *, kind: Kind, path: Path) -> Changed:
    """A cut or a seam as it was proposed or drawn; nothing where it is taken already.

    Raises:
        InputError: the panel is bare, or has as many as it may.
    """
    before = covered_choice(choices, panel)
    old = kind.paths(before)
    _require_room(old, kind, kind.most)
    taken = old if path in old else (*old, path)
    refused = tuple(one for one in kind.refusals(before) if one != path)
    after = kind.of(before, taken=taken, refused=refused)
    return Changed(choices.with_panel(after), f"{kind.word} {len(taken)} taken")


def move(choices: Choices, panel: PanelFacts, *, kind: Kind, path: Path, to: Path) -> Changed:
    """A cut or a seam that is taken, led along another path; it keeps its number.

    Raises:
        InputError: the panel is bare, or the one at *path* was given up in the meantime.
    """
    before = covered_choice(choices, panel)
    old = kind.paths(before)
    if path not in old:
        raise InputError(f"The {kind.word} that was to be moved is not there any more.")
    taken = tuple(to if one == path else one for one in old)
    after = kind.of(before, taken=tuple(dict.fromkeys(taken)), refused=kind.refusals(before))
    return Changed(choices.with_panel(after), f"{kind.word} {old.index(path) + 1} moved")


def refuse(choices: Choices, panel: PanelFacts, *, kind: Kind, path: Path) -> Changed:
    """One that shall not be made, taken before or only proposed; none is proposed near it.

    Raises:
        InputError: the panel is bare, or as many are refused on it as may be.
    """
    before = covered_choice(choices, panel)
    old = kind.refusals(before)
    _require_room(old, kind, MOST_RELIEFS)
    taken = tuple(one for one in kind.paths(before) if one != path)
    refused = old if path in old else (*old, path)
    after = kind.of(before, taken=taken, refused=refused)
    return Changed(choices.with_panel(after), f"a {kind.word} refused")


def forget_refused(choices: Choices, panel: PanelFacts, *, kind: Kind) -> Changed:
    """Refused ones may be proposed again.

    Raises:
        InputError: the panel is bare.
    """
    before = covered_choice(choices, panel)
    after = kind.of(before, taken=kind.paths(before), refused=())
    return Changed(choices.with_panel(after), f"refused {kind.word}s may be proposed again")


def cuts_seen(choices: Choices, panel: str) -> str:
    """A short word for what is taken and refused on a panel, and how much of it is covered."""
    found = choices.of(panel)
    if found is None:
        return short_word(None)
    paths = [each for kind in KINDS for each in (kind.paths(found), kind.refusals(found))]
    return short_word([found.line_mm, found.keep_mm, *paths])


def _require_room(paths: tuple[Path, ...], kind: Kind, most: int) -> None:
    if len(paths) >= most:
        raise InputError(f"A panel has {most} {kind.word}s at most; {kind.instead}.")
