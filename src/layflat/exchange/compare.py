"""What an archive brings that a shop does not have yet."""

from collections.abc import Sequence
from enum import StrEnum


class Standing(StrEnum):
    """How a line of revisions from elsewhere stands to one's own."""

    NEW = "new"
    """There is nothing of it here."""
    SAME = "same"
    """The newest is the newest here, too."""
    NEWER = "newer"
    """It goes on from what is newest here."""
    OLDER = "older"
    """Its newest is here already, and has been gone on from."""
    DIFFERS = "differs"
    """Both went on from something else; neither is older."""


def standing(theirs: Sequence[str], ours: Sequence[str]) -> Standing:
    """How *theirs* stands to *ours*.

    Args:
        theirs, ours: what tells revisions apart, such as hashes, the oldest first; *theirs* is not
            empty.
    """
    if not ours:
        return Standing.NEW
    if theirs[-1] == ours[-1]:
        return Standing.SAME
    if theirs[-1] in ours:
        return Standing.OLDER
    if ours[-1] in theirs:
        return Standing.NEWER
    return Standing.DIFFERS


def missing(theirs: Sequence[str], ours: Sequence[str]) -> list[int]:
    """Places in *theirs* of what is to be added, in order, so that its newest becomes the newest.

    Nothing where it is here already; else all after the last one that is here.
    """
    if not theirs or theirs[-1] in ours:
        return []
    known = [place for place, each in enumerate(theirs) if each in ours]
    return list(range(known[-1] + 1 if known else 0, len(theirs)))
