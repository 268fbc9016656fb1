"""Kept patterns and their revisions."""

from django.conf import settings
from django.db import models

from layflat.web.bodies.models import Body
from layflat.web.files.models import StoredFile


class Origin(models.TextChoices):
    """Where a pattern came from."""

    PHOTOGRAPH = "photograph", "a photograph of a template"
    DRAWING = "drawing", "a drawing"
    OTHER_CAR = "other_car", "another car's pattern"
    ARCHIVE = "archive", "an archive"
    EDITED = "edited", "an earlier revision, edited"


class KeptPattern(models.Model):
    """A panel of a body that the shop knows as a flat pattern, without a surface.

    Attributes:
        body: the vehicle that it fits.
        name: its panel's name, one of a kind for a body, such as "mirror-cap".
        title: as people write it, such as "Mirror cap".
        is_retired: no longer offered for new covers.
        version: counts every change of the title and of `is_retired`.
    """

    body = models.ForeignKey(Body, on_delete=models.PROTECT, related_name="patterns")
    name = models.CharField(max_length=80)
    title = models.CharField(max_length=120)
    is_retired = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """By title within a body."""

        ordering = ("title", "id")
        constraints = (
            models.UniqueConstraint(fields=("body", "name"), name="one_kept_name_per_body"),
        )

    def __str__(self) -> str:
        return self.title


class KeptRevision(models.Model):
    """One state of a kept pattern. Rows are added, never changed; the newest counts.

    Attributes:
        kept, number: the first is 1.
        pattern: JSON of the pattern, exact (see `layflat.pattern.pattern_json`).
        picture: SVG of the pattern, at scale.
        origin: where it came from.
        exactness: how exact it is, in the words and figures of where it came from; keys are free.
        said: sentences on what was mended, guessed or left open.
        source: the file that it was made from, if there is one.
        based_on: the revision that it was edited from, or that of another car.
    """

    kept = models.ForeignKey(KeptPattern, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    pattern = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    picture = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    origin = models.CharField(max_length=12, choices=Origin.choices)
    exactness = models.JSONField(default=dict)
    said = models.JSONField(default=list)
    source = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    based_on = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="+")
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """Numbered within a kept pattern, the newest first."""

        ordering = ("-number",)
        constraints = (
            models.UniqueConstraint(fields=("kept", "number"), name="one_number_per_kept_pattern"),
        )

    def __str__(self) -> str:
        return f"{self.kept}, revision {self.number}"
