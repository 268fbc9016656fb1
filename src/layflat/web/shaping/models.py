"""Drawings that were brought, what is asked of kept patterns' edges, and looks at other cars."""

from django.conf import settings
from django.db import models

from layflat.web.bodies.models import Body
from layflat.web.files.models import StoredFile
from layflat.web.patterns.models import KeptPattern, KeptRevision
from layflat.web.work.models import Computation


class BroughtDrawing(models.Model):
    """A drawing that was brought for a body, while it is read, asked about and kept.

    Attributes:
        body: that it is for.
        file: as it was brought, never changed.
        name: its name with its ending, which says what it is.
        answers: to what it asks, by the question's id.
        reading: the computation that reads it with these answers.
    """

    body = models.ForeignKey(Body, on_delete=models.PROTECT, related_name="drawings")
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=200)
    answers = models.JSONField(default=dict)
    reading = models.ForeignKey(Computation, null=True, on_delete=models.PROTECT, related_name="+")
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """The newest first; the same file is brought to a body once."""

        ordering = ("-id",)
        constraints = (
            models.UniqueConstraint(
                fields=("body", "file", "name"), name="one_brought_drawing_per_file"
            ),
        )

    def __str__(self) -> str:
        return self.name


class EdgeWork(models.Model):
    """What a revision's edges and places were made from, so that they can be edited again.

    Attributes:
        revision: the result.
        net: JSON of the pattern without allowances and places.
        wishes: what was asked of it, as JSON (see `layflat.web.shaping.wishes`).
    """

    revision = models.OneToOneField(
        KeptRevision, on_delete=models.PROTECT, related_name="edge_work"
    )
    net = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    wishes = models.JSONField()

    def __str__(self) -> str:
        return f"Edges of {self.revision}"


class EdgeDraft(models.Model):
    """Edges and places of a kept pattern while they are edited.

    Attributes:
        kept: the pattern.
        based_on: the revision that it was begun from.
        wishes: as of `EdgeWork`.
        version: counts the changes.
    """

    kept = models.OneToOneField(KeptPattern, on_delete=models.PROTECT, related_name="edge_draft")
    based_on = models.ForeignKey(KeptRevision, on_delete=models.PROTECT, related_name="+")
    wishes = models.JSONField()
    version = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"Edges of {self.kept}, not saved"
