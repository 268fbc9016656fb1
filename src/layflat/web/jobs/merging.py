"""Two people change one thing: what each of them changed, and where they clash."""

from collections.abc import Mapping
from dataclasses import dataclass

Values = Mapping[str, str]


@dataclass(frozen=True)
class Merge:
    """What comes of two changes to the same values.

    Attributes:
        values: the merged values; where both changed one, the second person's.
        clashes: names that both changed to different values.
        theirs: names that only the first person changed.
        mine: names that the second person changes, without clash.
    """

    values: dict[str, str]
    clashes: tuple[str, ...]
    theirs: tuple[str, ...]
    mine: tuple[str, ...]


def merged(*, seen: Values, current: Values, mine: Values) -> Merge:
    """Bring together what a person saw, what is there by now, and what the person wrote.

    All three have the same names.
    """
    values, clashes, theirs, own = {}, [], [], []
    for name, saw in seen.items():
        now, wrote = current[name], mine[name]
        values[name] = now if wrote == saw else wrote
        if now == wrote:
            continue
        if wrote == saw:
            theirs.append(name)
        elif now == saw:
            own.append(name)
        else:
            clashes.append(name)
    return Merge(values, tuple(clashes), tuple(theirs), tuple(own))
