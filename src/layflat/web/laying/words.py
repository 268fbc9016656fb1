"""Small things of sentences about people and pieces."""

from collections.abc import Iterable, Sequence

from layflat.web.people.models import Person


def sentence_start(words: str) -> str:
    """The same words at the beginning of a sentence."""
    return words[:1].upper() + words[1:]


def names(people: Sequence[Person]) -> str:
    """People as a sentence names them, by the alphabet."""
    return in_a_row(by_alphabet(person.shown for person in people))


def by_alphabet(shown: Iterable[str]) -> list[str]:
    """People's names in the order in which every screen and paper has them."""
    return sorted(shown, key=lambda name: (name.casefold(), name))


def in_a_row(words: Sequence[str], *, most: int = 4) -> str:
    """Words as people list them; beyond *most* of them how many more there are."""
    shown, rest = words[:most], len(words) - most
    if rest > 0:
        return f"{', '.join(shown)} and {rest} more"
    if len(shown) > 1:
        return f"{', '.join(shown[:-1])} and {shown[-1]}"
    return "".join(shown)
