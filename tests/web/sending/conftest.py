"""Searches of these tests are short, and programs are made once a run, as in the tests of film."""

import json
from collections.abc import Mapping
from typing import Any

import pytest

from layflat.base import silent
from layflat.cut import NO_WISHES, Machine, Wishes
from layflat.web.cutting.programs import Made, make_programs
from layflat.web.sending import prepared
from web.cutting.conftest import short_and_once

__all__ = ["short_and_once"]
_MADE: dict[str, Made] = {}


def _made_once(
    found: Mapping[str, Any],
    patterns: Any,
    *,
    machine: Machine | None = None,
    every_mm: float | None = None,
    wishes: Wishes = NO_WISHES,
    progress: Any = silent,
) -> Made:
    key = json.dumps([found, repr(machine), every_mm, repr(wishes)], sort_keys=True)
    if key not in _MADE:
        _MADE[key] = make_programs(
            found,
            patterns,
            machine=machine,
            every_mm=every_mm,
            wishes=wishes,
            progress=progress,
        )
    return _MADE[key]


@pytest.fixture(autouse=True)
def made_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(prepared, "make_programs", _made_once)
