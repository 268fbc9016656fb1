"""Calendar feeds: addresses that other calendars ask, made, shown, taken back.

A token is made from a feed's nonce under a key of its own that comes from the app's secret key; the
database keeps the nonce and the token's digest, so that neither alone opens anything.
"""

import base64
import datetime
import hashlib
import hmac
import secrets
from typing import Final

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from layflat.base import InputError
from layflat.web.diary.ics import Item, calendar
from layflat.web.diary.models import Booking, Feed
from layflat.web.diary.works import BY_KEY
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

KEPT: Final = datetime.timedelta(days=60)
"""How long what is past stays in a feed."""
_MOST: Final = 3000
_NONCE_BYTES: Final = 32
_FOR_TOKENS: Final = b"layflat: tokens of calendar feeds, 1"


def make(person: Person | None, *, who: Person) -> Feed:
    """A new feed of a person, or of the shop for None; call it in a transaction."""
    nonce = secrets.token_bytes(_NONCE_BYTES)
    feed = Feed.objects.create(
        person=person, nonce=nonce.hex(), digest=_digest(_token(nonce)), made_by=who
    )
    write_event(
        "calendar.feed-made",
        f"A calendar feed of {person.shown if person else 'the shop'} was made.",
        who=who,
        after={"feed": feed.pk},
    )
    return feed


def revoke(key: int, *, who: Person) -> None:
    """Take a feed back, in a transaction; nothing when that was done already.

    Raises:
        InputError: there is none, or it is not the person's to take back.
    """
    feed = Feed.objects.select_for_update().filter(pk=key).first()
    if feed is None or not may_see(feed, who):
        raise InputError("There is no such feed.")
    if feed.revoked_at is not None:
        return
    feed.revoked_at = timezone.now()
    feed.save(update_fields=["revoked_at"])
    write_event(
        "calendar.feed-revoked", "A calendar feed was taken back.", who=who, after={"feed": key}
    )


def may_see(feed: Feed, who: Person) -> bool:
    """Whether a person sees a feed's address: one's own; the shop's for all but installers."""
    return feed.person_id == who.pk or who.is_owner or (not feed.person_id and who.keeps_counter)


def feeds_of(who: Person) -> list[Feed]:
    """Feeds that stand and that a person sees."""
    rows = Feed.objects.filter(revoked_at=None).select_related("person").order_by("pk")
    return [feed for feed in rows if may_see(feed, who)]


def address(request: HttpRequest, feed: Feed) -> str:
    """The whole address of a feed; "" when it was made with another secret key."""
    token = _token(bytes.fromhex(feed.nonce))
    if not hmac.compare_digest(_digest(token), feed.digest):
        return ""
    return request.build_absolute_uri(reverse("diary:feed", args=[token]))


def find(token: str) -> Feed | None:
    """The feed with a token; None when it is unknown, taken back, or its person has left."""
    feed = Feed.objects.select_related("person").filter(digest=_digest(token)).first()
    nonce = bytes.fromhex(feed.nonce) if feed else bytes(_NONCE_BYTES)
    is_ours = hmac.compare_digest(_token(nonce).encode(), token.encode(errors="replace"))
    if feed is None or not is_ours or feed.revoked_at is not None:
        return None
    return None if feed.person and not feed.person.is_active else feed


def text_of(feed: Feed) -> bytes:
    """What a feed answers: times, works, job numbers, places; no customer, no note, no price."""
    rows = Booking.objects.filter(ends_at__gt=timezone.now() - KEPT)
    if feed.person is not None:
        rows = rows.filter(people=feed.person)
    found = rows.select_related("job__vehicle__body__body", "place").order_by("starts_at", "pk")
    return calendar(_item(booking) for booking in found[:_MOST])


def _item(booking: Booking) -> Item:
    return Item(
        uid=booking.uid,
        sequence=booking.version - 1,
        changed_at=booking.changed_at,
        starts_at=booking.starts_at,
        ends_at=booking.ends_at,
        summary=_summary(booking),
        location=booking.place.name if booking.place else "",
        is_cancelled=booking.is_withdrawn,
    )


def _summary(booking: Booking) -> str:
    if booking.job is None:
        return booking.words or "Booked"
    work = BY_KEY.get(booking.work)
    body = booking.job.vehicle.body
    vehicle = f", {body.body}" if body else ""
    return f"{work.title if work else 'Booked'}: job {booking.job.number}{vehicle}"


def _token(nonce: bytes) -> str:
    key = hmac.digest(settings.SECRET_KEY.encode(), _FOR_TOKENS, "sha256")
    made = hmac.digest(key, nonce, "sha256")
    return base64.urlsafe_b64encode(made).decode("ascii").rstrip("=")


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()
