"""Events: what happened."""

from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import models

if TYPE_CHECKING:  # people write events, too; the rows name the user model by its setting
    from layflat.web.people.models import Person


class Event(models.Model):
    """One thing that somebody did, or that happened by itself. Rows are added, never changed.

    Attributes:
        job: the job that it belongs to, if it does.
        at: when, by the database's or the server's clock, UTC.
        who: the person; None for the program itself or a customer.
        by: how the doer is named in the record, also when it was no person of the shop.
        kind: for programs, such as "job.enquired".
        sentence: for people.
        before, after: what changed, as far as it can be undone or compared.
    """

    job = models.ForeignKey("jobs.Job", null=True, on_delete=models.PROTECT, related_name="events")
    at = models.DateTimeField(auto_now_add=True, db_index=True)
    who = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    by = models.CharField(max_length=80)
    kind = models.CharField(max_length=60)
    sentence = models.CharField(max_length=400)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)

    class Meta:
        """The newest last."""

        ordering = ("id",)

    def __str__(self) -> str:
        return self.sentence


def write_event(
    kind: str,
    sentence: str,
    *,
    who: "Person | None",
    job: Any = None,
    by: str = "",
    before: Any = None,
    after: Any = None,
) -> Event:
    """Add one event; call it in the transaction that makes the change."""
    return Event.objects.create(
        job=job,
        who=who,
        by=by or (who.shown if who else "Layflat"),
        kind=kind,
        sentence=sentence[:400],
        before=before,
        after=after,
    )
