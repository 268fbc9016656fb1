"""JSON that nobody needs to trust: read within bounds, or refused in a sentence."""

import json
import re
from typing import Any, Final

from layflat.base import InputError

MOST_DEPTH: Final = 24
_MOST_DIGITS: Final = 18
_TEXT_OR_BRACKET: Final = re.compile(rb'"(?:[^"\\]++|\\.)*+"?+|[\[\]{}]', re.DOTALL)
"""A text is one match even where its end is missing, so that no input is read twice."""


def read_json(data: bytes, *, where: str, most_bytes: int) -> Any:
    """The value that *data* holds as JSON (RFC 8259), UTF-8.

    Whole numbers come back as int and have at most 18 digits; others as finite floats. A key may
    stand once in a table, and tables and lists lie at most 24 deep.

    Args:
        data: the bytes.
        where: what they are, for the sentence.
        most_bytes: more are refused.

    Raises:
        InputError: they are no such JSON.
    """
    if len(data) > most_bytes:
        raise InputError(f"{where} has more than {most_bytes / 1e6:g} MB; it is not read.")
    _require_shallow(data, where)
    try:
        return json.loads(
            data.decode("utf-8"),
            object_pairs_hook=_table,
            parse_int=_whole,
            parse_float=_finite,
            parse_constant=_no_number,
        )
    except (ValueError, RecursionError) as error:
        raise InputError(f"{where} is damaged: it cannot be read as JSON.") from error


def _require_shallow(data: bytes, where: str) -> None:
    """Count brackets before a parser that calls itself for each is let at them."""
    depth = 0
    for found in _TEXT_OR_BRACKET.finditer(data):
        sign = data[found.start()]
        if sign in b"[{":
            depth += 1
            if depth > MOST_DEPTH:
                raise InputError(f"{where} lies more than {MOST_DEPTH} deep; it is not read.")
        elif sign in b"]}":
            depth -= 1


def _table(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key stands twice")
    return found


def _whole(digits: str) -> int:
    if len(digits) > _MOST_DIGITS:
        raise ValueError("a whole number is too long")
    return int(digits)


def _finite(digits: str) -> float:
    value = float(digits)
    if value in (float("inf"), float("-inf")):
        raise ValueError("a number is too large")
    return value


def _no_number(word: str) -> Any:
    raise ValueError(word)


def json_bytes(value: Any) -> bytes:
    """*value* as JSON that people can read, the same bytes for the same value."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, indent=1, sort_keys=True)
    return text.encode() + b"\n"
