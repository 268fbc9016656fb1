"""Words that depend on a number."""


def counted(count: int, one: str, many: str | None = None) -> str:
    """A number and what it counts: “1 piece”, “3 pieces”.

    Args:
        count: how many.
        one: the word for one.
        many: the word for any other number; None for *one* with an s.
    """
    return f"{count:,} {one if count == 1 else many or one + 's'}"
