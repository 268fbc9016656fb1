"""The scan bench: one for each revision that is worked on, and its steps."""

from django.conf import settings
from django.db import models

from layflat.web.bodies.models import Revision
from layflat.web.work.models import Computation


class Bench(models.Model):
    """The work on one revision.

    Attributes:
        revision: whose scan it is.
        current: the step that counts; None before the first.
        making: the computation that makes panels, once it was asked for.
        made: the revision that came of it.
    """

    revision = models.OneToOneField(Revision, on_delete=models.PROTECT, related_name="bench")
    current = models.ForeignKey("Step", null=True, on_delete=models.PROTECT, related_name="+")
    making = models.ForeignKey(Computation, null=True, on_delete=models.PROTECT, related_name="+")
    made = models.ForeignKey(Revision, null=True, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"Scan bench of {self.revision}"


class Step(models.Model):
    """One change on a bench. Steps are added, never changed; going back leads to an earlier one.

    Attributes:
        bench: whose.
        before: the step that it was made on; None for the first.
        who: made it.
        asked: SHA-256 of what was asked, to know the same tap when it comes twice.
        sentence: what was done.
        state: how the work stands after it, as JSON (see `layflat.web.scanning.state`).
    """

    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, related_name="steps")
    before = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="after")
    who = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    at = models.DateTimeField(auto_now_add=True)
    asked = models.CharField(max_length=64)
    sentence = models.CharField(max_length=200)
    state = models.JSONField()

    class Meta:
        """In the order in which they were made."""

        ordering = ("id",)

    def __str__(self) -> str:
        return self.sentence
