"""What holds for all tests."""

import os

import pytest

# The browser tests keep Playwright's event loop in the thread for the whole run; Django would take
# the tests that come after them, in an order that changes, for asynchronous code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "yes"


def pytest_xdist_auto_num_workers() -> int:
    """One worker more than there are processors: many tests wait for a browser or a database."""
    return (os.cpu_count() or 1) + 1


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests that take long begin first: none is left over for one worker while the others wait."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)
