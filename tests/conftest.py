"""What holds for all tests."""

import os

# The browser tests keep Playwright's event loop in the thread for the whole run; Django would take
# the tests that come after them, in an order that changes, for asynchronous code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "yes"
