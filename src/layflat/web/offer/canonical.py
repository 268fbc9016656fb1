"""One way to write a content down, so that its hash says whether it is the same.

The canonical form is that of RFC 8785 (JSON Canonicalization Scheme) for the values that are
allowed here: texts, whole numbers, lists and tables with texts as keys. There are no other numbers,
no true, false or null: amounts are texts, so nothing depends on how a machine writes fractions.
"""

import hashlib
import json
from typing import Any, Final

from layflat.base import CheckError

MOST: Final = 2**53 - 1
"""The greatest whole number that every reader of JSON holds exactly (RFC 8785, RFC 7493)."""


def canonical(value: Any) -> bytes:
    """*value* as canonical JSON, UTF-8.

    Raises:
        CheckError: it holds something else than texts, whole numbers, lists and tables.
    """
    _require_plain(value)
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return text.encode()


def sha256_of(value: Any) -> str:
    """SHA-256 of *value* as canonical JSON, in hexadecimal.

    Raises:
        CheckError: as for `canonical`.
    """
    return hashlib.sha256(canonical(value)).hexdigest()


def in_short(sha256: str) -> str:
    """A hash for people to compare: its first twelve letters, in fours."""
    return " ".join(sha256[start : start + 4] for start in (0, 4, 8))


def _require_plain(value: Any) -> None:
    if isinstance(value, dict):
        # Keys are names of ours; within ASCII, every order of letters is the same.
        if not all(isinstance(key, str) and key.isascii() for key in value):
            raise CheckError("A name in a content is not plain text.")
        for item in value.values():
            _require_plain(item)
    elif isinstance(value, list):
        for item in value:
            _require_plain(item)
    elif isinstance(value, str):
        if any("\ud800" <= sign <= "\udfff" for sign in value):
            raise CheckError("A text in a content is no proper Unicode.")
    elif isinstance(value, bool) or not isinstance(value, int) or abs(value) > MOST:
        raise CheckError("A content holds texts and whole numbers only.")
