"""Final pictures, the hand-back, passports, follow-up visits."""

from typing import ClassVar

from django.conf import settings
from django.db import models

from layflat.web.files.models import StoredFile
from layflat.web.jobs.models import Job
from layflat.web.offer.models import Frozen


class FinalPicture(models.Model):
    """A picture of the finished car.

    Attributes:
        caption: what it shows, or "".
        is_withdrawn: taken out again before the hand-back; the file stays.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="final_pictures")
    photo = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    thumb = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    caption = models.CharField(max_length=120, blank=True)
    is_withdrawn = models.BooleanField(default=False)
    who = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """In the order of taking."""

        ordering = ("id",)

    def __str__(self) -> str:
        return self.caption or f"picture {self.pk}"


class HandBack(Frozen):
    """The car was given back, and who took it. Rows are added, never changed.

    Attributes:
        job: a job is handed back once.
        name: of whoever took it, as typed.
        signature: PNG of the signature on the screen, or None when it was signed on paper.
        on_paper_because: why there is none on the screen, or "".
        care_given: whether care was explained and the sheet handed over.
        who, at: of the shop.
    """

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="hand_back")
    name = models.CharField(max_length=80)
    signature = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    on_paper_because = models.CharField(max_length=200, blank=True)
    care_given = models.BooleanField()
    who = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.job}, handed back"


class Passport(Frozen):
    """One version of the record that goes with the car. Rows are added, never changed.

    Attributes:
        job, version: the first is made at the hand-back; a follow-up visit adds another.
        content: all that it says, as JSON; see `layflat.web.handback.content`.
        sha256: of the content as canonical JSON, in hexadecimal.
        pdf: the same on paper.
    """

    MAY_CHANGE: ClassVar = frozenset[str]()

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="passports")
    version = models.PositiveIntegerField()
    content = models.JSONField()
    sha256 = models.CharField(max_length=64, db_index=True)
    pdf = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """In the order of versions."""

        ordering = ("version",)
        constraints = (
            models.UniqueConstraint(fields=("job", "version"), name="one_passport_version_per_job"),
        )

    def __str__(self) -> str:
        return f"{self.job}, passport {self.version}"


class FollowUp(models.Model):
    """A visit after the hand-back.

    Attributes:
        due_on: the day that was agreed, by the shop's clock.
        came_at, found: when the car was seen, and what was found, in words.
        cancelled_because: why it did not take place, or "".
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="follow_ups")
    due_on = models.DateField()
    came_at = models.DateTimeField(null=True)
    found = models.CharField(max_length=2000, blank=True)
    cancelled_because = models.CharField(max_length=200, blank=True)
    who = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        """The next one first."""

        ordering = ("due_on", "id")

    def __str__(self) -> str:
        return f"{self.job}: {self.due_on}"
