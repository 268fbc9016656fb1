"""Places, bookings, feeds and working days of the calendar."""

import uuid

from django.conf import settings
from django.db import models

from layflat.web.jobs.models import Job


class Place(models.Model):
    """A bay or a plotter."""

    class Kind(models.TextChoices):
        """What a place is."""

        BAY = "bay", "bay"
        PLOTTER = "plotter", "plotter"

    name = models.CharField(max_length=40, unique=True)
    kind = models.CharField(max_length=8, choices=Kind.choices)
    is_retired = models.BooleanField(default=False)

    class Meta:
        """Bays first."""

        ordering = ("kind", "name")

    def __str__(self) -> str:
        return self.name


class Booking(models.Model):
    """A job's work, or something else, at a place or with people for a time.

    Attributes:
        job: or None, such as for a day off.
        work: which work it is, a value of `layflat.web.diary.works`, or "".
        words: what it is, where no job says it, or a note.
        place: or None.
        people: who works on it.
        starts_at, ends_at: UTC.
        is_withdrawn: taken out; it stays in the record.
        uid: the same for as long as it exists, for other calendars.
        version: counts every change.
        changed_at: when it was changed last.
    """

    job = models.ForeignKey(Job, null=True, on_delete=models.PROTECT, related_name="bookings")
    work = models.CharField(max_length=12, blank=True)
    words = models.CharField(max_length=120, blank=True)
    place = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="bookings")
    people = models.ManyToManyField(settings.AUTH_USER_MODEL, related_name="bookings")
    starts_at = models.DateTimeField(db_index=True)
    ends_at = models.DateTimeField(db_index=True)
    is_withdrawn = models.BooleanField(default=False)
    uid = models.UUIDField(default=uuid.uuid4, editable=False)
    version = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField(auto_now=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """By time; none ends before it starts."""

        ordering = ("starts_at", "id")
        constraints = (
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")),
                name="diary_ends_after_it_starts",
            ),
        )

    def __str__(self) -> str:
        return f"{self.starts_at:%Y-%m-%d %H:%M} {self.words or self.job}"


class Feed(models.Model):
    """A calendar feed (iCalendar, RFC 5545) of one person or of the whole shop.

    Attributes:
        person: whose; None for the whole shop.
        nonce, digest: as of a private link: the token is made from the nonce with the secret key.
        revoked_at: when it was taken back.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="feeds"
    )
    nonce = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)
    revoked_at = models.DateTimeField(null=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"feed of {self.person or 'the shop'}"


class WorkDay(models.Model):
    """When the shop works on one day of the week, by its own clock.

    Attributes:
        weekday: 0 for Monday.
        opens, closes: by the shop's clock; both None on a day off.
    """

    weekday = models.PositiveSmallIntegerField(unique=True)
    opens = models.TimeField(null=True, blank=True)
    closes = models.TimeField(null=True, blank=True)

    class Meta:
        """Monday first."""

        ordering = ("weekday",)

    def __str__(self) -> str:
        return f"{self.weekday}: {self.opens} to {self.closes}"
