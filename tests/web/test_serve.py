"""How the server is ended."""

import os
import signal
from contextlib import suppress

import pytest

from layflat.web.serve import _ended_by_sigterm


def test_an_end_that_was_swallowed_is_not_forgotten() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with _ended_by_sigterm() as asked:
        assert not asked.is_set()
        with suppress(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGTERM)
            pytest.fail("nothing was raised")
        assert asked.is_set()
    assert signal.getsignal(signal.SIGTERM) is before
