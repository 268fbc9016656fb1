"""A job's links as the shop sees them."""

import ipaddress
from dataclasses import dataclass
from urllib.parse import urlsplit

from django.http import HttpRequest

from layflat.web.jobs.models import Job
from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.links.private import address, is_open


@dataclass(frozen=True, kw_only=True)
class ShownLink:
    """One link.

    Attributes:
        link: its row.
        what: what it opens, in words.
        address: to copy; "" when it is closed or cannot be shown again.
        is_local: whether the address means the machine that opens it, so no customer's phone gets
            here by it.
        state, word: a shape of `signs.css`, and a word.
    """

    link: PrivateLink
    what: str
    address: str
    is_local: bool
    state: str
    word: str


def shown_links(
    request: HttpRequest, job: Job, purpose: Purpose | None = None
) -> tuple[ShownLink, ...]:
    """A job's links, the newest first; one query.

    Args:
        request: names the address that the app is reached by.
        job: whose links.
        purpose: of which kind; None for all.
    """
    rows = job.links.select_related("made_by", "revoked_by").order_by("-id")
    if purpose is not None:
        rows = rows.filter(purpose=purpose)
    return tuple(_shown(request, link) for link in rows)


def _shown(request: HttpRequest, link: PrivateLink) -> ShownLink:
    if is_open(link):
        state, word = ("done", "opened") if link.opened else ("waiting", "not opened yet")
    else:
        state, word = "", "taken back" if link.revoked_at else "expired"
    return ShownLink(
        link=link,
        what=Purpose(link.purpose).label,
        address=address(request, link) if is_open(link) else "",
        is_local=is_local(request.get_host()),
        state=state,
        word=word,
    )


def is_local(host: str) -> bool:
    """Whether a host, perhaps with its port, is one of the loopback (RFC 6761, 6.3; RFC 1122)."""
    name = urlsplit(f"//{host}").hostname or ""
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return name == "localhost" or name.endswith(".localhost")
