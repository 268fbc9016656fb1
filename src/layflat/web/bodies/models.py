"""Bodies, their revisions and their panels."""

from django.conf import settings
from django.db import models

from layflat.web.files.models import StoredFile
from layflat.web.folding import FoldedField
from layflat.web.work.models import Computation


class Body(models.Model):
    """A vehicle's body as the shop knows it.

    Attributes:
        maker, name: the shop's own words.
        year_from, year_to: when it was built; an end that is not known is None.
        words_folded: maker, name and note as they are searched.
        is_retired: no longer offered for new jobs.
    """

    maker = models.CharField(max_length=80)
    name = models.CharField(max_length=80)
    year_from = models.PositiveSmallIntegerField(null=True, blank=True)
    year_to = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)
    words_folded = FoldedField("maker", "name", "note")
    is_retired = models.BooleanField(default=False)

    class Meta:
        """By what people look for."""

        ordering = ("maker", "name", "year_from")

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"

    @property
    def years(self) -> str:
        """The years as people write them, or ""."""
        if self.year_from and self.year_to and self.year_from != self.year_to:
            return f"{self.year_from}–{self.year_to}"
        if self.year_from and not self.year_to:
            return f"from {self.year_from}"
        if self.year_to and not self.year_from:
            return f"until {self.year_to}"
        return str(self.year_from or "")


class Revision(models.Model):
    """One state of a body: a scan and its panels. Jobs keep the revision that they were made on.

    Attributes:
        body, number: the first is 1.
        scan: the file as it was uploaded; None for a body that is known by its kept patterns alone.
        unit: of the scan, as given; "" where the file fixes it.
        panels: a panels file.
        light: GLB of the mended scan with few triangles, for the browser.
        lines: JSON of the panels, edges and keep-outs as they lie on `light`.
        picture: PNG of the body with its panels.
        mending: what reading and mending said, as JSON; see `layflat.web.bodies.tasks.report`.
        preparation: the computation that makes `light`, `lines`, `picture` and `mending`.
    """

    body = models.ForeignKey(Body, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    scan = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    unit = models.CharField(max_length=2, blank=True)
    panels = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    light = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    lines = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    picture = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    mending = models.JSONField(null=True)
    preparation = models.ForeignKey(Computation, null=True, on_delete=models.PROTECT)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """Numbered within a body, the newest first."""

        ordering = ("-number",)
        constraints = (
            models.UniqueConstraint(fields=("body", "number"), name="one_number_per_body"),
        )

    def __str__(self) -> str:
        return f"{self.body}, revision {self.number}"

    @property
    def has_scan(self) -> bool:
        """Whether its surface is known; else its pieces come from kept patterns."""
        return self.scan_id is not None

    @property
    def is_ready(self) -> bool:
        """Whether covers can be chosen on it: its scan is prepared, or there is none."""
        return self.light_id is not None or not self.has_scan
