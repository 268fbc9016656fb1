"""Fit notes."""

from django.conf import settings
from django.db import models

from layflat.web.cutting.models import Cut
from layflat.web.jobs.models import Job


class FitNote(models.Model):
    """How a laid piece fits at one place.

    Attributes:
        job, number: the first of a job is 1.
        cut: the piece of film.
        kind: a name of `layflat.revise.NoteKind`.
        x_mm, y_mm: where it was tapped, on the pattern that was cut.
        mm: by how much, as a list: none for "fits", two for "corner" and "shift" (right and up on
            the picture of the piece, turned into the pattern's own x and y), else one.
        along_mm: the length of the stretch round that place; 0 for the place alone.
        words: more words.
        noted_at, noted_by: when, and who saw it.
        withdrawn_at, withdrawn_by: when it was taken back, and by whom; None while it counts.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="fit_notes")
    number = models.PositiveIntegerField()
    cut = models.ForeignKey(Cut, on_delete=models.PROTECT, related_name="fit_notes")
    kind = models.CharField(max_length=8)
    x_mm = models.FloatField()
    y_mm = models.FloatField()
    mm = models.JSONField()
    along_mm = models.FloatField(default=0)
    words = models.CharField(max_length=300, blank=True)
    noted_at = models.DateTimeField()
    noted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        """Numbered within a job."""

        ordering = ("job", "number")
        constraints = (
            models.UniqueConstraint(fields=("job", "number"), name="one_fit_note_number_per_job"),
        )

    def __str__(self) -> str:
        return f"{self.job}, fit note {self.number}"
