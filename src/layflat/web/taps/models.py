"""Taps as they came in."""

from django.conf import settings
from django.db import models

from layflat.web.jobs.models import Job


class Device(models.Model):
    """A tablet or browser that keeps taps while the network is gone.

    Attributes:
        key: random, made on the device.
        last: the number of its last tap that was taken; the next one is one more.
        seen_at: when it sent something last.
    """

    key = models.CharField(max_length=32, unique=True)
    last = models.PositiveIntegerField(default=0)
    seen_at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return self.key[:8]


class Tap(models.Model):
    """One tap: asked for once, and what came of it. Rows are added, and settled once.

    Attributes:
        key: random, made where it was tapped; the same tap sent again finds its row.
        device, number: of the tablet that kept it, and its place there; None for a plain form.
        act: its name, such as "gates.done".
        job: that it is about; None for what is no job's.
        fields: what was sent, as JSON of strings; files are not kept here.
        who: tapped.
        tapped_at: when, as far as the clocks allow; `received_at` when it came in.
        is_late: whether it came in more than a minute after it was tapped.
        clock_note: a sentence when the tablet's clock could not be believed, or "".
        state: "done" or "refused".
        says: one sentence: what was done, or why not.
        settled_at, settled_by, settled_how: of a refused one, when a person has seen to it.
    """

    class State(models.TextChoices):
        """What came of it."""

        DONE = "done", "done"
        REFUSED = "refused", "refused"

    key = models.CharField(max_length=32, unique=True)
    device = models.ForeignKey(Device, null=True, on_delete=models.PROTECT, related_name="taps")
    number = models.PositiveIntegerField(null=True)
    act = models.CharField(max_length=40)
    job = models.ForeignKey(Job, null=True, on_delete=models.PROTECT, related_name="taps")
    fields = models.JSONField(default=dict)
    who = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="taps")
    tapped_at = models.DateTimeField()
    received_at = models.DateTimeField(auto_now_add=True)
    is_late = models.BooleanField(default=False)
    clock_note = models.CharField(max_length=200, blank=True)
    state = models.CharField(max_length=8, choices=State.choices)
    says = models.CharField(max_length=400)
    settled_at = models.DateTimeField(null=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_how = models.CharField(max_length=200, blank=True)

    class Meta:
        """In the order in which they came."""

        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(fields=("device", "number"), name="one_tap_number_per_device"),
        )

    def __str__(self) -> str:
        return f"{self.act}: {self.state}"
