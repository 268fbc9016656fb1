"""A hash of values by what they hold: equal values have equal hashes, in every process."""

import dataclasses
import hashlib
import struct
from collections.abc import Mapping
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np

_MOST_DEPTH = 60


def digest(*values: Any) -> str:
    """The SHA-256 of *values*, in hexadecimal.

    Values are None, truth values, numbers, texts, bytes, paths, members of enumerations, arrays of
    numbers, and tuples, lists, sets, mappings and dataclasses of these. A dataclass counts by its
    name and its fields; what it has computed and keeps beside them does not.

    Raises:
        TypeError: a value is of another kind, or lies too deep.
    """
    sha = hashlib.sha256()
    for value in values:
        sha.update(_bytes_of(value, 0))
    return sha.hexdigest()


def _bytes_of(value: Any, depth: int) -> bytes:
    """*value* as bytes that no other value has; long ones as their hash."""
    if depth > _MOST_DEPTH:
        raise TypeError("A value lies too deep to be hashed.")
    if isinstance(value, Enum):
        return _tagged("enum", type(value).__qualname__.encode(), _bytes_of(value.value, depth + 1))
    plain = _plain(value)
    if plain is not None:
        return plain
    if isinstance(value, np.ndarray):
        if value.dtype.hasobject:
            raise TypeError("An array of objects cannot be hashed.")
        return _tagged("array", value.dtype.str.encode(), repr(value.shape).encode(), _raw(value))
    if isinstance(value, tuple | list):
        return _tagged("row", *(_bytes_of(each, depth + 1) for each in value))
    if isinstance(value, set | frozenset):
        return _tagged("set", *sorted(_bytes_of(each, depth + 1) for each in value))
    if isinstance(value, Mapping):
        pairs = (
            _bytes_of(key, depth + 1) + _bytes_of(each, depth + 1) for key, each in value.items()
        )
        return _tagged("map", *sorted(pairs))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = (
            field.name.encode() + _bytes_of(getattr(value, field.name), depth + 1)
            for field in dataclasses.fields(value)
        )
        return _tagged(f"{type(value).__module__}.{type(value).__qualname__}", *fields)
    raise TypeError(f"A {type(value).__name__} cannot be hashed by what it holds.")


def _plain(value: Any) -> bytes | None:
    """A value without parts as bytes; None if it has parts."""
    if value is None or isinstance(value, bool | np.bool_):
        return _tagged("is", repr(None if value is None else bool(value)).encode())
    if isinstance(value, int | np.integer):
        return _tagged("int", str(int(value)).encode())
    if isinstance(value, float | np.floating):
        return _tagged("float", struct.pack("<d", float(value)))
    if isinstance(value, str):
        return _tagged("text", value.encode())
    if isinstance(value, bytes):
        return _tagged("bytes", value)
    if isinstance(value, Path):
        return _tagged("path", str(value).encode())
    return None


def _raw(array: Any) -> bytes:
    return bytes(np.ascontiguousarray(array).data)


def _tagged(tag: str, *parts: bytes) -> bytes:
    """The parts under a tag, of one length whatever they are."""
    sha = hashlib.sha256(f"{tag}:{len(parts)};".encode())
    for part in parts:
        sha.update(f"{len(part)};".encode())
        sha.update(part)
    return sha.digest()
