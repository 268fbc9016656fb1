"""Rounds of inspection, what was checked in them, and flags."""

from django.conf import settings
from django.db import models

from layflat.web.cutting.models import Cut
from layflat.web.files.models import StoredFile
from layflat.web.jobs.models import Job


class Round(models.Model):
    """One person's inspection of a job.

    Attributes:
        job, number: the first is 1.
        inspector: laid none of the pieces, unless `own_work_because` says why that was overridden;
            the passport shows it.
        began_at, ended_at: None while it goes on.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="rounds")
    number = models.PositiveIntegerField()
    inspector = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="rounds"
    )
    own_work_because = models.CharField(max_length=200, blank=True)
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        """Numbered within a job; one at a time."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(fields=("job", "number"), name="one_round_number_per_job"),
            models.UniqueConstraint(
                fields=("job",),
                condition=models.Q(ended_at__isnull=True),
                name="one_open_round_per_job",
            ),
        )

    def __str__(self) -> str:
        return f"{self.job}, inspection {self.number}"


class Check(models.Model):
    """A piece of film that was looked at in a round.

    Attributes:
        round, cut: who looked, and at what.
        at: as tapped.
        stale_at: when the film was touched again, so that it must be looked at anew; None while
            the check stands.
    """

    round = models.ForeignKey(Round, on_delete=models.PROTECT, related_name="checks")
    cut = models.ForeignKey(Cut, on_delete=models.PROTECT, related_name="checks")
    at = models.DateTimeField()
    stale_at = models.DateTimeField(null=True)

    class Meta:
        """One check of a piece of film stands at a time."""

        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(
                fields=("cut",),
                condition=models.Q(stale_at__isnull=True),
                name="one_standing_check_per_cut",
            ),
        )

    def __str__(self) -> str:
        return f"{self.cut} in {self.round}"


class Flag(models.Model):
    """A fault found on a laid piece.

    Attributes:
        job, number: the first is 1.
        cut: the piece of film.
        kind: a name of `layflat.web.inspection.kinds`: lifted edge, finger, air bubble …
        x_mm, y_mm: its place on the flat pattern; None when only the panel is known.
        size_mm: how large, or None.
        note: more words.
        photo, thumb: a picture, or None.
        remedy: what is to be done.
        state: see there; only "mended" ones are checked again, and only "ended" ones let the car
            go.
        found_at, found_by: when, and who saw it.
        mended_at, mended_by, mended_how: when somebody saw to it, and how.
        ended_at, ended_by, ended_how: when a second look was content: "gone", "noted" (left to
            clear, seen at the follow-up), "no fault" with a reason, or "remade".
        replaced_by: the new piece of film, of a remake.
    """

    class Remedy(models.TextChoices):
        """What is to be done about a flag."""

        WAIT = "wait", "wait"
        PRESS = "press", "press down"
        RELAY = "relay", "lay again"
        REMAKE = "remake", "make anew"

    class State(models.TextChoices):
        """How far a flag is."""

        OPEN = "open", "open"
        MENDED = "mended", "mended, to be checked"
        ENDED = "ended", "ended"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="flags")
    number = models.PositiveIntegerField()
    cut = models.ForeignKey(Cut, on_delete=models.PROTECT, related_name="flags")
    kind = models.CharField(max_length=40)
    x_mm = models.FloatField(null=True)
    y_mm = models.FloatField(null=True)
    size_mm = models.FloatField(null=True)
    note = models.CharField(max_length=300, blank=True)
    photo = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    thumb = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    remedy = models.CharField(max_length=8, choices=Remedy.choices)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    found_at = models.DateTimeField()
    found_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    mended_at = models.DateTimeField(null=True)
    mended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    mended_how = models.CharField(max_length=200, blank=True)
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_how = models.CharField(max_length=200, blank=True)
    replaced_by = models.ForeignKey(
        Cut, null=True, on_delete=models.PROTECT, related_name="replaces"
    )

    class Meta:
        """Numbered within a job."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(fields=("job", "number"), name="one_flag_number_per_job"),
        )

    def __str__(self) -> str:
        return f"{self.number}. {self.kind}"
