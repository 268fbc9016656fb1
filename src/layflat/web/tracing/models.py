"""Templates that were photographed, with what was measured and put right."""

from django.conf import settings
from django.db import models

from layflat.web.bodies.models import Body
from layflat.web.files.models import StoredFile
from layflat.web.work.models import Computation


class Template(models.Model):
    """One template in its frame, as it was photographed.

    Attributes:
        body: that it was made on.
        readings: what a steel rule says of printed rules, a list of {"sheet", "mm", "across"}.
        spans: what a tape says from sheet to sheet, a list of {"first", "second", "mm"}.
        follow: "auto", "line" or "edge": what the outline is.
        light_ink: whether the pen is lighter than the sheet.
        corrections: what a person put right, in order, a list of {"kind", "points"}: kind is
            "accepted", "not a line", "through", "outline", "hole" or "landmark"; points are x and
            y in turn, in mm as printed: on the table they are larger by the scale that the rules
            say.
        reading: the computation that was asked for last.
        version: counts the changes of readings and corrections.
    """

    body = models.ForeignKey(Body, on_delete=models.PROTECT, related_name="templates")
    readings = models.JSONField(default=list)
    spans = models.JSONField(default=list)
    follow = models.CharField(max_length=4, default="auto")
    light_ink = models.BooleanField(default=False)
    corrections = models.JSONField(default=list)
    reading = models.ForeignKey(Computation, null=True, on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """The newest first."""

        ordering = ("-id",)

    def __str__(self) -> str:
        return f"Template {self.pk} of {self.body}"


class Picture(models.Model):
    """One photograph of a template, as the camera made it.

    Attributes:
        template, number: the first is 1.
        file: never changed.
        name: as it was brought.
    """

    template = models.ForeignKey(Template, on_delete=models.PROTECT, related_name="pictures")
    number = models.PositiveSmallIntegerField()
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=200)

    class Meta:
        """In the order in which they were brought."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(
                fields=("template", "number"), name="one_picture_number_per_template"
            ),
        )

    def __str__(self) -> str:
        return self.name
