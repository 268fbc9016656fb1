"""Offers in their versions, and what was accepted."""

from django.conf import settings
from django.db import models

from layflat.web.cover.models import Outcome
from layflat.web.files.models import StoredFile
from layflat.web.jobs.models import Job
from layflat.web.links.models import PrivateLink


class Offer(models.Model):
    """One version of a job's offer. Rows are added, never changed but for `withdrawn_at`.

    Attributes:
        job, version: the first is 1; the newest counts.
        content: all that the customer reads, as JSON; see `layflat.web.offer.content`.
        sha256: of the content as canonical JSON, in hexadecimal.
        costs: what it costs the shop, per alternative; for the owner only.
        pdf: the same content on paper.
        outcomes: of its alternatives, so that they are kept.
        valid_until: the last day on which it can be accepted, by the shop's clock.
        withdrawn_at: when the shop took it back.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="offers")
    version = models.PositiveIntegerField()
    content = models.JSONField()
    sha256 = models.CharField(max_length=64)
    costs = models.JSONField()
    pdf = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    outcomes = models.ManyToManyField(Outcome, related_name="offers")
    valid_until = models.DateField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """In the order of versions."""

        ordering = ("version",)
        constraints = (
            models.UniqueConstraint(fields=("job", "version"), name="one_offer_version_per_job"),
        )

    def __str__(self) -> str:
        return f"{self.job}, offer {self.version}"


class Acceptance(models.Model):
    """A customer's yes to one alternative of one version. Rows are added, never changed.

    Attributes:
        offer: that was accepted.
        alternative: its place in the content, from 1.
        name: as the customer typed it.
        sha256: of the content that the customer saw.
        through: the private link, or None when it was said at the counter.
        heard_by: person of the shop who wrote it down, or None.
    """

    offer = models.OneToOneField(Offer, on_delete=models.PROTECT, related_name="acceptance")
    alternative = models.PositiveIntegerField()
    name = models.CharField(max_length=80)
    sha256 = models.CharField(max_length=64)
    through = models.ForeignKey(PrivateLink, null=True, on_delete=models.PROTECT)
    heard_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"{self.offer}: accepted by {self.name}"
