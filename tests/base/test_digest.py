"""Equal values have equal hashes, others have others, in every process."""

import subprocess
import sys
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.base import digest


class Kind(Enum):
    GAP = "gap"
    TRIM = "trim"


@dataclass(frozen=True)
class Record:
    name: str
    points: Any = None

    @cached_property
    def length(self) -> int:
        return len(self.name)


@dataclass(frozen=True)
class Other:
    name: str
    points: Any = None


leaves = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False)
    | st.text()
    | st.binary()
    | st.sampled_from(Kind)
)
values = st.recursive(
    leaves,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(), inner, max_size=4)
        | st.builds(Record, st.text(), inner)
    ),
    max_leaves=10,
)


@given(values, values)
def test_equal_if_and_only_if_they_are_equal(one: Any, other: Any) -> None:
    # Python counts True as 1 and -0.0 as 0.0; a hash need not.
    if repr(one) == repr(other):
        assert digest(one) == digest(other)
    else:
        assert digest(one) != digest(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (np.zeros(4), np.zeros((2, 2))),
        (np.zeros(4), np.zeros(4, dtype=np.float32)),
        (np.zeros(4), np.zeros(5)),
        (Record("a"), Other("a")),
        (Kind.GAP, "gap"),
        (("ab", "c"), ("a", "bc")),
        ((("a",), "b"), ("a", ("b",))),
        (1, 1.0),
        (True, 1),
        (Path("a"), "a"),
        ({"a": 1, "b": 2}, {"a": 2, "b": 1}),
    ],
)
def test_what_looks_alike_is_told_apart(one: Any, other: Any) -> None:
    assert digest(one) != digest(other)


def test_neither_order_of_keys_nor_memory_nor_kept_values_count() -> None:
    assert digest({"a": 1, "b": 2}) == digest({"b": 2, "a": 1})
    table = np.arange(12.0).reshape(3, 4)
    assert digest(table.T) == digest(np.ascontiguousarray(table.T))
    record = Record("abc")
    before = digest(record)
    assert record.length == 3
    assert digest(record) == before
    assert digest(frozenset({"a", "b", "c"})) == digest(frozenset({"c", "b", "a"}))


def test_another_process_finds_the_same() -> None:
    code = "from layflat.base import digest; print(digest(frozenset('abc'), {'x': 1.5}, None))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == digest(frozenset("abc"), {"x": 1.5}, None)


@pytest.mark.parametrize("value", [object(), len, Record, np.array([object()]), iter(())])
def test_what_has_no_content_to_go_by_is_refused(value: Any) -> None:
    with pytest.raises(TypeError, match="hashed"):
        digest(value)


def test_endless_depth_is_refused() -> None:
    loop: list[Any] = []
    loop.append(loop)
    with pytest.raises(TypeError, match="too deep"):
        digest(loop)
