"""Searches of these tests are short, and each is made once a run, programs too."""

import json
from collections.abc import Mapping
from typing import Any

import pytest
from pytest_django.fixtures import Settings

from layflat.base import LayflatError, silent
from layflat.nest import place
from layflat.web.cutting import keeping, search
from layflat.web.cutting.programs import Made, make_programs

_LAID: dict[str, tuple[list[Any], Any]] = {}
_MADE: dict[str, Made] = {}


def _placed_once(requests: Any, stock: Any, *, watch: Any, progress: Any, **more: Any) -> Any:
    names = [(request.pattern.name, request.lay) for request in requests]
    key = repr((names, stock, sorted(more.items())))
    if key not in _LAID:
        told: list[Any] = []
        try:
            ended: Any = place(requests, stock, watch=told.append, progress=silent, **more)
        except LayflatError as error:
            ended = error
        _LAID[key] = (told, ended)
    told, ended = _LAID[key]
    for layout in told:
        watch(layout)
        progress("laying out", 0.5)
    if isinstance(ended, LayflatError):
        raise ended
    return ended


def _made_once(found: Mapping[str, Any], patterns: Any, **more: Any) -> Made:
    key = json.dumps(found, sort_keys=True)
    if key not in _MADE:
        _MADE[key] = make_programs(found, patterns, **more)
    return _MADE[key]


@pytest.fixture(autouse=True)
def short_and_once(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.LAYOUT_S = 0.4
    monkeypatch.setattr(search, "place", _placed_once)
    monkeypatch.setattr(keeping, "make_programs", _made_once)
