"""Layouts of a job's pieces on rolls, their sections, and every piece of film that was cut.

A layout belongs to one job. Where it holds pieces of other jobs too it has a `Member` for each of
its jobs and a `Share` of each section's film for each of them; else it has none of either.
"""

import math
from typing import Final

from django.conf import settings
from django.db import models

from layflat.web.cover.models import Outcome, Piece
from layflat.web.files.models import StoredFile
from layflat.web.jobs.models import Job
from layflat.web.stock.models import Roll
from layflat.web.work.models import Computation

_LETTER_STEP: Final = 1000


def number_in_layout(letter: str, number: int) -> int:
    """A piece's number within a layout: its own, or with a job's letter one that no other has."""
    return number if not letter else _LETTER_STEP * (ord(letter) - ord("A") + 1) + number


def apart(number: int) -> tuple[str, int]:
    """The job's letter, or "", and the piece's own number, of a number within a layout."""
    step, own = divmod(number, _LETTER_STEP)
    return (chr(ord("A") + step - 1) if step else ""), own


def whole_mm(before_mm: float, end_mm: float) -> int:
    """What a section takes of a roll, whole millimetres, with the film passed by before it.

    Ends are rounded up, not lengths: so the sections of a layout take no more than it is long.

    Args:
        before_mm: where the section before it ends along the layout, 0 for the first.
        end_mm: where it ends.
    """
    return math.ceil(end_mm) - math.ceil(before_mm)


def called(number: int) -> str:
    """A number within a layout as people read it: "3", or where jobs share the layout "B3"."""
    letter, own = apart(number)
    return f"{letter}{own}"


class Layout(models.Model):
    """Some of a job's pieces on one roll. What was kept is never computed again.

    Attributes:
        job, number: the first is 1.
        outcome: whose pieces they are.
        roll: that they lie on.
        pieces: numbers of the outcome's pieces that are laid out, as a list; where jobs share the
            layout those of all of them, see `number_in_layout`.
        computation: the search; once somebody chose to keep what it found, the making of the
            programs.
        shapes: JSON of the pieces as they are drawn (see `layflat.web.cutting.shapes`), or None
            until the search has read the patterns.
        so_far: the best layout until now as JSON while the search goes on (see
            `layflat.web.cutting.stored`), or None.
        state: where it stands.
        queue_place: its place in the order in which the layouts of its roll are counted as cut,
            from 1, given when somebody chooses to keep it; None until then.
        found: the layout that somebody chose to keep, as JSON of the same form, or None; its
            programs are being made while the state is "searching".
        used_mm, bound_mm: of what was kept.
        checked: what the simulation of the cut measured, as JSON.
        notes: sentences.
        boxes: of the pieces of a kept one as their patterns lie, in whole mm, as a list of pairs;
            what is learned from for offcuts.
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
    queue_place = models.PositiveIntegerField(null=True)
    found = models.JSONField(null=True)
    used_mm = models.FloatField(null=True)
    bound_mm = models.FloatField(null=True)
    checked = models.JSONField(null=True)
    notes = models.JSONField(default=list)
    boxes = models.JSONField(default=list)
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

    @property
    def is_shared(self) -> bool:
        """Whether pieces of several jobs lie on it."""
        return any(number >= _LETTER_STEP for number in self.pieces)


class Member(models.Model):
    """A job with pieces on a layout that several jobs share, its own job among them.

    Attributes:
        layout, job: once each.
        outcome: whose pieces they are.
        letter: of the job on the layout's pictures and papers.
        pieces: their numbers within the job, as a list.
        left_because: why its pieces are cut for nobody, in words, or "".
    """

    layout = models.ForeignKey(Layout, on_delete=models.PROTECT, related_name="members")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+")
    outcome = models.ForeignKey(Outcome, on_delete=models.PROTECT, related_name="+")
    letter = models.CharField(max_length=1)
    pieces = models.JSONField()
    left_because = models.CharField(max_length=200, blank=True)

    class Meta:
        """By letter within a layout."""

        ordering = ("layout", "letter")
        constraints = (
            models.UniqueConstraint(fields=("layout", "job"), name="one_member_per_job"),
            models.UniqueConstraint(fields=("layout", "letter"), name="one_member_per_letter"),
        )

    def __str__(self) -> str:
        return f"{self.letter} in {self.layout}"


class Section(models.Model):
    """A stretch of a kept layout that is cut in one go.

    Attributes:
        layout, number: the first is 1.
        start_mm, end_mm: along the layout, from the roll's cut end.
        film_mm: that it takes from the roll, see `whole_mm`.
        program: its cut program, HP-GL.
        simulated: JSON of the way of the blade's tip (see `layflat.web.cutting.simulated`).
        seconds: that cutting it is estimated to take, by the machine's values alone.
        begun_at: when somebody tapped that cutting begins; None for nobody.
        took_s: seconds that cutting it took, from that tap to the tick that it is cut, or from a
            sending in one go; None where nobody knows.
        pieces_mm2: the area of its pieces, cut-outs not counted; None where it was kept before
            that was measured.
        state: whether it is cut, or no job needs its pieces any more.
        cut_at, cut_by: when it was ticked, and by whom.
        spoiled_because: why it is spoiled, in words, or "".
    """

    class State(models.TextChoices):
        """Whether a section is cut."""

        OPEN = "open", "to be cut"
        CUT = "cut", "cut"
        SPOILED = "spoiled", "spoiled"
        LEFT = "left", "not to be cut any more"

    layout = models.ForeignKey(Layout, on_delete=models.PROTECT, related_name="sections")
    number = models.PositiveIntegerField()
    start_mm = models.FloatField()
    end_mm = models.FloatField()
    film_mm = models.PositiveIntegerField()
    program = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    simulated = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    seconds = models.FloatField(default=0)
    begun_at = models.DateTimeField(null=True)
    took_s = models.FloatField(null=True)
    pieces_mm2 = models.FloatField(null=True)
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


class Share(models.Model):
    """What a job bears of the film of a section that several jobs share.

    Attributes:
        section, job: once each.
        film_mm: of the section's, whole millimetres; all of them together are the section's.
    """

    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="shares")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+")
    film_mm = models.PositiveIntegerField()

    class Meta:
        """A job bears one share of a section."""

        ordering = ("section", "job")
        constraints = (
            models.UniqueConstraint(fields=("section", "job"), name="one_share_per_job"),
        )

    def __str__(self) -> str:
        return f"{self.job}'s share of {self.section}"


class Offcut(models.Model):
    """A rectangle of a section's film that no piece lies on, large enough to be kept.

    Attributes:
        section, number: the largest is 1.
        start_mm, low_mm: where it begins, along the layout and across the roll.
        length_mm, width_mm: along and across the roll, whole millimetres, rounded down.
        state: what became of it.
        roll: that it is in stock as, while it is kept; or None.
        settled_at, settled_by: when it was kept or thrown away, and by whom.
    """

    class State(models.TextChoices):
        """What became of it."""

        OPEN = "open", "to be kept or thrown away"
        KEPT = "kept", "kept"
        THROWN = "thrown", "thrown away"

    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="offcuts")
    number = models.PositiveIntegerField()
    start_mm = models.FloatField()
    low_mm = models.FloatField()
    length_mm = models.PositiveIntegerField()
    width_mm = models.PositiveIntegerField()
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    roll = models.OneToOneField(Roll, null=True, on_delete=models.PROTECT, related_name="kept_from")
    settled_at = models.DateTimeField(null=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        """The largest first."""

        ordering = ("section", "number")
        constraints = (
            models.UniqueConstraint(fields=("section", "number"), name="one_offcut_number"),
        )

    def __str__(self) -> str:
        return f"{self.section}, offcut {self.number}"


class Cut(models.Model):
    """One piece of film, as it is cut from one section: a pattern may be cut more than once.

    Attributes:
        section: that it lies in; the roll and the lot follow from it.
        piece: its pattern.
        number: the piece's own, as everywhere else; so it stands on map and label.
        letter: of its job, where several jobs share the layout; else "".
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
    letter = models.CharField(max_length=1, blank=True)
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

    @property
    def job(self) -> Job:
        """Whose piece it is."""
        return self.piece.outcome.cover.job if self.letter else self.section.layout.job

    @property
    def in_layout(self) -> int:
        """Its number within its layout."""
        return number_in_layout(self.letter, self.number)

    @property
    def called(self) -> str:
        """Its number within its layout as people read it."""
        return called(self.in_layout)


def next_number(job: Job) -> int:
    """The number of a job's next layout; call it on a locked job."""
    last = job.layouts.order_by("-number").values_list("number", flat=True).first()
    return (last or 0) + 1
