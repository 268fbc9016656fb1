"""Private links: made, shown again, found by their token, taken back.

A token is HMAC-SHA256 of the link's nonce under a key that is derived from the app's secret key:
43 letters, 256 bits. The database keeps the nonce and the token's SHA-256, so that neither the
database nor the secret key alone opens anything.
"""

import base64
import datetime
import hashlib
import hmac
import secrets
from typing import Final

from django.conf import settings
from django.db.models import F
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

DAYS: Final = 30
"""How long a link opens, where nobody says otherwise."""
MOST_DAYS: Final = 365
MOST_PASSPORT_DAYS: Final = 3660
"""A passport's link stands on paper that is kept for ten years."""
_NONCE_BYTES: Final = 32
_FOR_TOKENS: Final = b"layflat: tokens of private links, 1"
_PAGES: Final = {
    Purpose.OFFER: "offer:for-you",
    Purpose.WARNINGS: "links:warnings",
    Purpose.PASSPORT: "handback:for-you",
}


def new_nonce() -> bytes:
    """What a link is made from, where its address is needed before the link is made."""
    return secrets.token_bytes(_NONCE_BYTES)


def make(
    job: Job, purpose: Purpose, *, days: int, who: Person | None, nonce: bytes = b""
) -> PrivateLink:
    """A new link to something of a job; call it on a locked job in a transaction.

    Args:
        job: that the link is about.
        purpose: what it opens.
        days: how long it opens it: 1 to 365, a passport 3660.
        who: makes it.
        nonce: from `new_nonce`, where it was needed before.

    Raises:
        InputError: *days* is beyond the bounds.
    """
    most = MOST_PASSPORT_DAYS if purpose is Purpose.PASSPORT else MOST_DAYS
    if not 1 <= days <= most:
        raise InputError(f"A private link opens for 1 to {most} days.")
    nonce = nonce or new_nonce()
    link = PrivateLink.objects.create(
        job=job,
        purpose=purpose,
        nonce=nonce.hex(),
        digest=_digest(_token(nonce)),
        expires_at=timezone.now() + datetime.timedelta(days=days),
        made_by=who,
    )
    write_event(
        "link.made",
        f"A private link to {purpose.label} was made; it opens for {days} "
        f"day{'' if days == 1 else 's'}.",
        who=who,
        job=job,
        after={"link": link.pk},
    )
    return link


def token_of(link: PrivateLink) -> str:
    """A link's token; "" when it was made with another secret key and cannot be shown again."""
    token = _token(bytes.fromhex(link.nonce))
    return token if hmac.compare_digest(_digest(token), link.digest) else ""


def address(request: HttpRequest, link: PrivateLink) -> str:
    """The whole address that the customer opens; "" when it cannot be shown again."""
    token = token_of(link)
    return _address(request, Purpose(link.purpose), token) if token else ""


def address_from(request: HttpRequest, purpose: Purpose, nonce: bytes) -> str:
    """The address that a link will have which is made from a nonce."""
    return _address(request, purpose, _token(nonce))


def _address(request: HttpRequest, purpose: Purpose, token: str) -> str:
    return request.build_absolute_uri(reverse(_PAGES[purpose], args=[token]))


def find(token: str, purpose: Purpose) -> PrivateLink | None:
    """The link with a token; None when it is unknown, expired, revoked, or for other use.

    It is looked up by the digest of the token, so that the time that takes tells nothing about it.
    """
    link = (
        PrivateLink.objects.select_related("job__vehicle__customer", "job__vehicle__body__body")
        .filter(digest=_digest(token))
        .first()
    )
    # Both are computed and compared in every case; whoever can only write rows cannot make a token.
    nonce = bytes.fromhex(link.nonce) if link else bytes(_NONCE_BYTES)
    is_ours = hmac.compare_digest(_token(nonce).encode(), token.encode(errors="replace"))
    if link is None or not is_ours or link.purpose != purpose or not is_open(link):
        return None
    return link


def is_open(link: PrivateLink) -> bool:
    """Whether a link opens anything now."""
    return link.revoked_at is None and timezone.now() < link.expires_at


def note_opened(link: PrivateLink) -> None:
    """Count that a stranger opened a link."""
    PrivateLink.objects.filter(pk=link.pk).update(
        opened=F("opened") + 1, last_opened_at=timezone.now()
    )


def revoke(link: PrivateLink, *, who: Person | None) -> None:
    """Take a link back, in a transaction; nothing when that was done already."""
    held = PrivateLink.objects.select_for_update().get(pk=link.pk)
    if held.revoked_at is not None:
        return
    held.revoked_at, held.revoked_by = timezone.now(), who
    held.save(update_fields=["revoked_at", "revoked_by"])
    write_event(
        "link.revoked",
        f"A private link to {Purpose(held.purpose).label} was taken back.",
        who=who,
        job=held.job,
        after={"link": held.pk},
    )


def _token(nonce: bytes) -> str:
    key = hmac.digest(settings.SECRET_KEY.encode(), _FOR_TOKENS, "sha256")
    made = hmac.digest(key, nonce, "sha256")
    return base64.urlsafe_b64encode(made).decode("ascii").rstrip("=")


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()
