"""Corrections of patterns: asked for, found, kept, taken back."""

from django.conf import settings
from django.db import models

from layflat.web.bodies.models import Body
from layflat.web.files.models import StoredFile
from layflat.web.work.models import Computation


class Asked(models.Model):
    """The search for a piece's next correction that was asked for last.

    Attributes:
        body, piece: once each.
        computation: the search.
    """

    body = models.ForeignKey(Body, on_delete=models.PROTECT, related_name="+")
    piece = models.CharField(max_length=80)
    computation = models.ForeignKey(Computation, on_delete=models.PROTECT, related_name="+")

    class Meta:
        """One for each piece of a body."""

        constraints = (
            models.UniqueConstraint(fields=("body", "piece"), name="one_asked_correction"),
        )

    def __str__(self) -> str:
        return f"{self.piece} of {self.body}"


class Correction(models.Model):
    """One revision of a piece's pattern by fit notes, of this shop or of another.

    Attributes:
        body: the vehicle that it fits.
        piece: the piece's name, such as "hood", or "hood 2" of a panel in two pieces.
        number: of the revision, from 1, once it is kept; None before.
        state: where it stands.
        history: JSON of all revisions of the piece until this one (see
            `layflat.revise.history_json`), with those of the other shop where it came from one.
        picture: SVG of the piece before and after.
        figures: what it changed, as JSON (see `layflat.web.corrections.figures`).
        said: sentences for a person.
        computation: that found it; None where it came from another shop.
        came: of one from another shop `shop` and `key`, who signed it, `number`, of the revision
            there, and `marks`, what tells the revisions that led to it apart (see
            `layflat.exchange.mark`); None of one's own.
        found_at: when it was taken over.
        settled_at, settled_by: when it was kept or given up, and by whom.
        back_at, back_by: when it was taken back, and by whom.
    """

    class State(models.TextChoices):
        """Where a correction stands."""

        FOUND = "found", "to be looked at"
        KEPT = "kept", "cut from now on"
        GIVEN_UP = "given up", "not taken"
        BACK = "back", "taken back"

    body = models.ForeignKey(Body, on_delete=models.PROTECT, related_name="corrections")
    piece = models.CharField(max_length=80)
    number = models.PositiveIntegerField(null=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.FOUND)
    history = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    picture = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    figures = models.JSONField()
    said = models.JSONField()
    computation = models.OneToOneField(
        Computation, null=True, on_delete=models.PROTECT, related_name="+"
    )
    came = models.JSONField(null=True)
    found_at = models.DateTimeField(auto_now_add=True)
    settled_at = models.DateTimeField(null=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    back_at = models.DateTimeField(null=True)
    back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        """As they were found; a piece's numbers are given once."""

        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(
                fields=("body", "piece", "number"), name="one_correction_number_per_piece"
            ),
        )

    def __str__(self) -> str:
        return f"{self.piece} of {self.body}, revision {self.number or '?'}"
