"""What has been cut, as far as anybody can know: whole for certain, in doubt, untouched."""

from collections.abc import Sequence
from dataclasses import dataclass

from layflat.send.spool import Span, Spool


@dataclass(frozen=True, kw_only=True)
class Account:
    """The cuts of a program after a sending, counted from its first.

    Attributes:
        whole: how many are whole for certain.
        begun: how many may have been begun, the whole ones among them.
        count: how many there are.
        doubtful: names of those between.
        whole_strokes, begun_strokes: the same as *whole* and *begun*, in lowerings of the knife.
    """

    whole: int
    begun: int
    count: int
    whole_strokes: int
    begun_strokes: int
    doubtful: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """What a person is told."""
        if self.whole == self.count:
            return f"All {self.count} cuts are made."
        whole = "No cut is whole for certain"
        if self.whole:
            whole = f"{_capital(_numbers(1, self.whole))} whole"
        if self.begun == self.whole:
            none = f"{_numbers(self.whole + 1, self.count)} untouched"
            return f"{whole}, {none}." if self.whole else f"{_capital(none)}."
        in_doubt = f"{_numbers(self.whole + 1, self.begun)} in doubt ({_listed(self.doubtful)})"
        after = (
            f", {_numbers(self.begun + 1, self.count)} untouched" if self.begun < self.count else ""
        )
        return f"{whole}; {in_doubt}{after}."


def account_of(spool: Spool, *, least: int, most: int) -> Account:
    """The account of a program.

    Args:
        spool: the program.
        least: offset in it before which everything has surely been taken up.
        most: offset behind which the machine has got nothing.
    """
    # A cut is whole when the machine has gone on to what comes after it: the head's way to the
    # next one. What it has only taken up may still be under the knife.
    ends = [*(cut.start for cut in spool.cuts[1:]), len(spool.data)]
    whole = sum(end <= least for end in ends)
    begun = max(whole, sum(cut.start < most for cut in spool.cuts))
    return Account(
        whole=whole,
        begun=begun,
        count=len(spool.cuts),
        whole_strokes=sum(cut.strokes for cut in spool.cuts[:whole]),
        begun_strokes=sum(cut.strokes for cut in spool.cuts[:begun]),
        doubtful=tuple(cut.name for cut in spool.cuts[whole:begun]),
    )


def cut_at(spool: Spool, place: int) -> Span:
    """The cut that an offset in the program belongs to; before the first, the first."""
    before = [cut for cut in spool.cuts if cut.start <= place]
    return before[-1] if before else spool.cuts[0]


def _numbers(first: int, last: int) -> str:
    return f"cut {first} is" if first == last else f"cuts {first} to {last} are"


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]


def _listed(names: Sequence[str]) -> str:
    if len(names) <= 4:
        return ", ".join(names)
    return f"{names[0]}, {names[1]} … {names[-1]}"
