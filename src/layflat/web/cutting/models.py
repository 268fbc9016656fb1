"""Layouts of a job's pieces on rolls, their sections, and every piece of film that was cut."""

from django.conf import settings
from django.db import models

from layflat.web.cover.models import Outcome, Piece
from layflat.web.files.models import StoredFile
from layflat.web.jobs.models import Job
from layflat.web.stock.models import Roll
from layflat.web.work.models import Computation


class Layout(models.Model):
    """Some of a job's pieces on one roll. What was kept is never computed again.

    Attributes:
        job, number: the first is 1.
        outcome: whose pieces they are.
        roll: that they lie on.
        pieces: numbers of the outcome's pieces that are laid out, as a list.
        computation: the search; once somebody chose to keep what it found, the making of the
            programs.
        shapes: JSON of the pieces as they are drawn (see `layflat.web.cutting.shapes`), or None
            until the search has read the patterns.
        so_far: the best layout until now as JSON while the search goes on (see
            `layflat.web.cutting.stored`), or None.
        state: where it stands.
        found: the layout that somebody chose to keep, as JSON of the same form, or None; its
            programs are being made while the state is "searching".
        used_mm, bound_mm: of what was kept.
        checked: what the simulation of the cut measured, as JSON.
        notes: sentences.
        version: counts every change of its state.
        kept_by: who chose to keep it.
    """

    class State(models.TextChoices):
        """Where a layout stands."""

        SEARCHING = "searching", "searching"
        KEPT = "kept", "to be cut"
        CUT = "cut", "cut"
        DROPPED = "dropped", "not used"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="layouts")
    number = models.PositiveIntegerField()
    outcome = models.ForeignKey(Outcome, on_delete=models.PROTECT, related_name="layouts")
    roll = models.ForeignKey(Roll, on_delete=models.PROTECT, related_name="layouts")
    pieces = models.JSONField()
    computation = models.ForeignKey(
        Computation, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    shapes = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    so_far = models.JSONField(null=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.SEARCHING)
    found = models.JSONField(null=True)
    used_mm = models.FloatField(null=True)
    bound_mm = models.FloatField(null=True)
    checked = models.JSONField(null=True)
    notes = models.JSONField(default=list)
    version = models.PositiveIntegerField(default=1)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField(auto_now_add=True)
    kept_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        """Numbered within a job."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(fields=("job", "number"), name="one_layout_number_per_job"),
        )

    def __str__(self) -> str:
        return f"{self.job}, layout {self.number}"


class Section(models.Model):
    """A stretch of a kept layout that is cut in one go.

    Attributes:
        layout, number: the first is 1.
        start_mm, end_mm: along the layout, from the roll's cut end.
        film_mm: that it takes from the roll, in whole millimetres, rounded up.
        program: its cut program, HP-GL.
        simulated: JSON of the way of the blade's tip (see `layflat.web.cutting.simulated`).
        seconds: that cutting it is estimated to take.
        state: whether it is cut.
        cut_at, cut_by: when it was ticked, and by whom.
        spoiled_because: why it is spoiled, in words, or "".
    """

    class State(models.TextChoices):
        """Whether a section is cut."""

        OPEN = "open", "to be cut"
        CUT = "cut", "cut"
        SPOILED = "spoiled", "spoiled"

    layout = models.ForeignKey(Layout, on_delete=models.PROTECT, related_name="sections")
    number = models.PositiveIntegerField()
    start_mm = models.FloatField()
    end_mm = models.FloatField()
    film_mm = models.PositiveIntegerField()
    program = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    simulated = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    seconds = models.FloatField(default=0)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    spoiled_because = models.CharField(max_length=200, blank=True)
    cut_at = models.DateTimeField(null=True)
    cut_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        """In order along the roll."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(fields=("layout", "number"), name="one_section_number"),
        )

    def __str__(self) -> str:
        return f"{self.layout}, section {self.number}"


class Cut(models.Model):
    """One piece of film, as it is cut from one section: a pattern may be cut more than once.

    Attributes:
        section: that it lies in; the roll and the lot follow from it.
        piece: its pattern.
        number: the piece's own, as everywhere else; so it stands on map and label.
        attempt: the first cut of this piece is 1.
        state: how far it is.
        lost_because: why it is lost, in words; "" while it is not.
        lost_at, lost_by: when, and who said so.
        weeded_at, weeded_by: when the waste was off, and who did it.
    """

    class State(models.TextChoices):
        """How far a piece of film is."""

        PLACED = "placed", "to be cut"
        CUT = "cut", "cut"
        WEEDED = "weeded", "weeded"
        LAID = "laid", "laid"
        LOST = "lost", "lost"

    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="cuts")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="cuts")
    number = models.PositiveIntegerField()
    attempt = models.PositiveIntegerField(default=1)
    state = models.CharField(max_length=8, choices=State.choices, default=State.PLACED)
    lost_because = models.CharField(max_length=200, blank=True)
    lost_at = models.DateTimeField(null=True)
    lost_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    weeded_at = models.DateTimeField(null=True)
    weeded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        """A piece has one film that is not lost."""

        ordering = ("section__layout__number", "number")
        constraints = (
            models.UniqueConstraint(
                fields=("piece",),
                condition=~models.Q(state="lost"),
                name="one_good_cut_per_piece",
            ),
            models.UniqueConstraint(fields=("piece", "attempt"), name="one_attempt_number"),
        )

    def __str__(self) -> str:
        return f"{self.number} {self.piece.title}"
