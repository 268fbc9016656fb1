"""The patterns of pieces as their files hold them."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from layflat.base import InputError
from layflat.papers import panel_title
from layflat.pattern import Pattern, read_pattern_json
from layflat.web.cover.models import Piece
from layflat.web.cutting.models import apart, called
from layflat.web.files.store import kept_json

_MOST_BYTES = 50_000_000
_NUMBER = re.compile(r"\b[0-9]{1,6}\b")
_NUMBERS = re.compile(rf"([Pp]ieces? )({_NUMBER.pattern}(?:(?:, | and ){_NUMBER.pattern})*)")


def pattern_files(pieces: Iterable[Piece]) -> dict[str, str]:
    """Hashes of the pieces' pattern files by their numbers as text, as a task is given them.

    Raises:
        InputError: a piece was computed before patterns were kept.
    """
    return {str(piece.number): pattern_file(piece) for piece in pieces}


def pattern_file(piece: Piece) -> str:
    """The hash of a piece's pattern file.

    Raises:
        InputError: the piece was computed before patterns were kept.
    """
    if piece.pattern is None:
        raise InputError(
            "The cover was computed before patterns were kept, so it cannot be cut: send the job "
            "back to the cover, compute the cover anew and offer it again."
        )
    return piece.pattern.sha256


def read_patterns(files: Mapping[str, str]) -> dict[int, Pattern]:
    """Patterns by the pieces' numbers, from `pattern_files`.

    Raises:
        InputError: a file is missing or damaged.
    """
    return {int(number): _read(sha256) for number, sha256 in files.items()}


def told_apart(patterns: Mapping[int, Pattern]) -> dict[int, Pattern]:
    """The same, where jobs share the layout with the pieces' numbers in their names.

    Jobs of one body have pieces of one name, and the engine of layouts knows pieces by names.
    """
    return {
        number: replace(one, name=f"{called(number)} {one.name}") if apart(number)[0] else one
        for number, one in patterns.items()
    }


def titled(sentence: str, patterns: Mapping[int, Pattern]) -> str:
    """A sentence about patterns that were `told_apart`, with their panels' titles.

    Args:
        sentence: names them in quotation marks, or their numbers after the word piece.
        patterns: by number, as they were read.
    """
    for number, one in told_apart(patterns).items():
        title = panel_title(patterns[number].name)
        before = one.name.removesuffix(patterns[number].name)
        # Where the number stands in front it is not said again.
        sentence = sentence.replace(f"piece {number} “{one.name}”", f"piece {number} “{title}”")
        sentence = sentence.replace(f"“{one.name}”", f"“{before}{title}”")
    return _NUMBERS.sub(lambda found: found[1] + _NUMBER.sub(_as_called, found[2]), sentence)


def _as_called(found: re.Match[str]) -> str:
    return called(int(found[0]))


def _read(sha256: str) -> Pattern:
    data = kept_json(
        sha256, what="A pattern's file", remedy="compute the cover anew", most_bytes=_MOST_BYTES
    )
    return read_pattern_json(data)
