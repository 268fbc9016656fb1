"""A row that is to be run, as engines know it: they know neither database nor models."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Due:
    """An open row.

    Attributes:
        key: of the row.
        comes_first: whether it is begun before others.
        only_waits: whether it hardly computes, and takes no place from those that do.
    """

    key: str
    comes_first: bool
    only_waits: bool
