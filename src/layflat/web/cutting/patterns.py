"""The patterns of pieces as their files hold them."""

import json
from collections.abc import Iterable, Mapping

from layflat.base import InputError
from layflat.pattern import Pattern, read_pattern_json
from layflat.web.cover.models import Piece
from layflat.web.files.store import path_of

_MOST_BYTES = 50_000_000


def pattern_files(pieces: Iterable[Piece]) -> dict[str, str]:
    """Hashes of the pieces' pattern files by their numbers as text, as a task is given them.

    Raises:
        InputError: a piece was computed before patterns were kept.
    """
    found = {}
    for piece in pieces:
        if piece.pattern is None:
            raise InputError(
                "The cover was computed before patterns were kept, so it cannot be cut: send the "
                "job back to the cover, compute the cover anew and offer it again."
            )
        found[str(piece.number)] = piece.pattern.sha256
    return found


def read_patterns(files: Mapping[str, str]) -> dict[int, Pattern]:
    """Patterns by the pieces' numbers, from `pattern_files`.

    Raises:
        InputError: a file is missing or damaged.
    """
    return {int(number): _read(sha256) for number, sha256 in files.items()}


def _read(sha256: str) -> Pattern:
    try:
        path = path_of(sha256)
        if path.stat().st_size > _MOST_BYTES:
            raise InputError("A pattern's file is far too large; compute the cover anew.")
        data = json.loads(path.read_bytes())
    except OSError as error:
        raise InputError(
            "A pattern's file is no longer in the data folder; compute the cover anew."
        ) from error
    except ValueError as error:
        raise InputError("A pattern's file is damaged; compute the cover anew.") from error
    return read_pattern_json(data)
