"""Private links: long random tokens that expire and can be taken back."""

from django.conf import settings
from django.db import models

from layflat.web.jobs.models import Job


class Purpose(models.TextChoices):
    """What a link opens."""

    OFFER = "offer", "the offer"
    WARNINGS = "warnings", "what was found on the vehicle"
    PASSPORT = "passport", "the passport"


class PrivateLink(models.Model):
    """One link of one customer to one thing.

    The token itself is not kept: it is made from `nonce` with the app's secret key, so that the
    shop can show the link again, and found by its digest; whoever reads the database alone cannot
    open it.

    Attributes:
        job: that it is about; the link shows nothing of others.
        purpose: what it opens.
        nonce: 32 random bytes in hexadecimal.
        digest: SHA-256 of the token, in hexadecimal.
        expires_at: from then on it opens nothing.
        revoked_at, revoked_by: when somebody took it back.
        made_by, made_at: who made it, and when.
        opened, last_opened_at: how often it was opened by a stranger, and when last.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="links")
    purpose = models.CharField(max_length=10, choices=Purpose.choices)
    nonce = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField(auto_now_add=True)
    opened = models.PositiveIntegerField(default=0)
    last_opened_at = models.DateTimeField(null=True)

    class Meta:
        """The newest last."""

        ordering = ("id",)

    def __str__(self) -> str:
        return f"{self.job}: {self.purpose}"
