"""Garbage that an answer leaves is looked for once the answer is out, not in the middle of one."""

import gc
import weakref
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.handlers.asgi import ASGIHandler

from layflat.web.asgi import Handler


class Knot:
    """Something that only the garbage collector can free."""

    def __init__(self) -> None:
        self.itself = self


@pytest.fixture
def _undisturbed() -> Iterator[None]:
    gc.disable()
    yield
    gc.enable()


@pytest.mark.usefixtures("_undisturbed")
def test_garbage_is_looked_for_when_the_answer_is_out(monkeypatch: pytest.MonkeyPatch) -> None:
    left: list[weakref.ref[Knot]] = []

    async def answer(_self: ASGIHandler, _scope: Any, _receive: Any, send: Any) -> None:
        left.append(weakref.ref(Knot()))
        await send("the last byte")

    async def send(_message: str) -> None:
        assert left[0]() is not None

    monkeypatch.setattr(ASGIHandler, "__call__", answer)
    # Nothing in it waits, so that it needs no event loop; browser tests keep one running.
    with pytest.raises(StopIteration):
        Handler()(None, None, send).send(None)
    assert left[0]() is None
