"""Telling a full disk from other faults, and saying so: the shop can do something about it."""

import errno
import sqlite3
import sys
from collections.abc import Iterator

from django.http import HttpRequest, HttpResponse
from django.template.loader import get_template
from django.views.defaults import server_error

_ERRNOS = (errno.ENOSPC, errno.EDQUOT)
_SQLSTATE = "53100"
"""PostgreSQL's `disk_full` (Appendix A of its documentation, class 53)."""


def fault(request: HttpRequest) -> HttpResponse:
    """The page for what went wrong within; of its own for a full disk."""
    if is_full_disk(sys.exception()):
        # Without the request: what a page usually asks the database for may fail, too.
        return HttpResponse(get_template("507.html").render(), status=507)
    return server_error(request)


def is_full_disk(error: BaseException | None) -> bool:
    """Whether *error*, or one that it came from, is a disk without space, or a quota used up."""
    return any(_is_full(cause) for cause in _causes(error))


def _causes(error: BaseException | None) -> Iterator[BaseException]:
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        yield error
        error = error.__cause__ or error.__context__


def _is_full(error: BaseException) -> bool:
    return (
        (isinstance(error, OSError) and error.errno in _ERRNOS)
        or getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL
        or getattr(error, "sqlstate", None) == _SQLSTATE
    )
