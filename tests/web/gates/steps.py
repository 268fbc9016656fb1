"""Steps of a car as they are before any is begun, for tests of their order."""

import datetime
from typing import Any, Final

from layflat.web.gates.models import Kind, Step, Zone

START: Final = datetime.datetime(2031, 5, 20, 8, 0, tzinfo=datetime.UTC)


def a_step(key: str, kind: Kind = Kind.HAND, *needs: str, **values: Any) -> Step:
    """A step that no database has."""
    return Step(
        **{
            "key": key,
            "title": key.capitalize().replace("-", " "),
            "kind": kind,
            "zone": Zone.PAINT,
            "needs": list(needs),
            **values,
        }
    )


def minutes(count: float) -> datetime.timedelta:
    return datetime.timedelta(minutes=count)
